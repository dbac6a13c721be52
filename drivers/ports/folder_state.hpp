// What was taken from a folder's files already, kept over restarts.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::ports {

/// SHA-256 as 64 hex digits.
std::string sha256_of(std::string_view bytes);

/// One file as it was last looked at. Lines: up to where it was taken, with what tells that part again. Whole:
/// which content was taken.
struct FileTaken {
  std::string name;
  std::uint64_t inode = 0;
  std::int64_t size = 0, modified_ns = 0;  ///< when it was last looked at: unchanged, there is nothing to do
  std::int64_t taken = 0;                  ///< lines: bytes from its beginning
  std::string print;                       ///< lines: of those bytes; whole: SHA-256 of the content
  bool open_end = false;                   ///< lines: the last one was taken before its end came
  std::vector<std::string> lines;          ///< lines: the newest ones' hashes, to know them after a rewriting
  std::int64_t all_lines = 0;              ///< how many were taken: more than `lines` holds, the older are unknown
  std::int64_t seen = 0;                   ///< rank of the look that saw it change last
  bool operator==(const FileTaken&) const = default;
};

struct FolderState {
  std::int64_t look = 0;
  std::vector<FileTaken> files;       ///< of files that are gone too, the newest 500
  std::vector<std::string> contents;  ///< whole: SHA-256 of contents taken, the newest 4000
  bool operator==(const FolderState&) const = default;
};

std::string state_text(const FolderState& state);
/// Error "cannot_read": not such a text.
Expected<FolderState> read_state(std::string_view text, const std::string& file);

}  // namespace tallystick::ports
