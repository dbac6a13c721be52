// Measurements out of the files of a folder, each once. The part of the folder driver that touches files: it
// blocks, and runs on a thread of its own (folder_port.hpp). Nothing here knows a dialect.
//
// Lines: instruments that append. Taken are whole lines, from where the last look ended. A file is known again
// by its content: by its beginning and by what stands before that place. So it may be renamed, moved, copied,
// or written anew with the old lines in front. Where its beginning has changed, lines that were taken from it
// before are not taken again, wherever they stand; a file that was seen empty begins anew.
//
// Whole: instruments that write a file for each measurement, or the same file again and again. Taken is a
// file whose size and time have not changed for `settle`. A content that was taken before is the same
// measurement, whatever the file's name (unless `same_again`).
//
// Once: what is taken is on the disk (`keep`) before it is given out. A power cut between the two loses a
// measurement that nobody was told of, and never doubles one.
//
// What is in the folder when it is looked at for the first time ever is old.
#pragma once

#include <chrono>
#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/ports/folder_settings.hpp"
#include "drivers/ports/folder_state.hpp"

namespace tallystick::ports {

/// Bytes of one measurement: a line with its end, or a whole file.
struct TakenPiece {
  std::string file, bytes;
  TextEncoding encoding = TextEncoding::utf8;
  std::int64_t modified_us = 0;  ///< when the file was written last, by the clock of whoever keeps it
  bool rest = false;             ///< what came behind a line that was taken before its end: not a measurement
  std::string unreadable;        ///< not empty: why there is no measurement in it
};

class FolderTaker {
 public:
  using Keep = std::function<Done(const std::filesystem::path& file, std::string_view bytes)>;
  /// `state_file`: where `keep` keeps what was taken; empty: nowhere, all that is there at the start is old.
  FolderTaker(std::filesystem::path folder, FolderSettings settings, std::filesystem::path state_file, Keep keep);

  struct Look {
    std::vector<TakenPiece> pieces;  ///< in the order of the files' times
    /// Something is unfinished: look again after so long, even if nothing is heard of the folder.
    std::optional<std::chrono::milliseconds> again_after;
    std::vector<std::string> warnings;
  };
  /// `steady_ns`: of any clock that only goes on. Errors: "port_absent" (no such folder), "port_denied",
  /// "port_failed", "cannot_read" (the state), "cannot_write" (nothing was taken then).
  Expected<Look> look(std::int64_t steady_ns);

 private:
  struct Found {
    std::string name;
    std::uint64_t inode = 0;
    std::int64_t size = 0, modified_ns = 0;
  };
  struct Waiting {
    std::int64_t size = 0, modified_ns = 0, since_ns = 0;
  };

  Done load();
  Expected<std::vector<Found>> list(Look& out) const;
  void take_lines(const Found& found, std::int64_t now, Look& out);
  void take_new_lines(FileTaken& known, const Found& found, std::string_view content, std::int64_t now, Look& out);
  void take_rewritten(FileTaken& known, const Found& found, Look& out);
  void take_whole(const Found& found, std::int64_t now, Look& out);
  FileTaken* known_by_name(const std::string& name);
  FileTaken* known_by_content(const Found& found);
  bool settled(const Found& found, std::int64_t now, Look& out);
  std::optional<std::string> bytes_of(const Found& found, std::int64_t from, std::int64_t to) const;
  std::string print_of(const Found& found, std::int64_t taken) const;
  void forget_old(const std::set<std::string>& there);

  std::filesystem::path folder_;
  FolderSettings settings_;
  std::filesystem::path state_file_;
  Keep keep_;
  std::optional<FolderState> state_;
  bool first_ever_ = false;
  std::map<std::string, Waiting> waiting_;  ///< by name: files that may still be being written
};

}  // namespace tallystick::ports
