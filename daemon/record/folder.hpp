// The files beside the journal: lock, head file, what was set aside; and whether the folder can hold a
// journal.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "daemon/measure/error.hpp"
#include "daemon/walk/event.hpp"

namespace tallystick::record {

/// Held while the journal may be written; freed when destroyed, or by the kernel when the process ends.
class Lock {
 public:
  /// Error "locked" names the holder's process id; "cannot_open".
  static Expected<Lock> take(const std::filesystem::path& file);
  Lock(Lock&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
  Lock& operator=(Lock&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    return *this;
  }
  ~Lock();

 private:
  Lock() = default;
  int descriptor_ = -1;
};

/// How far the journal had come, kept apart from it.
struct Head {
  Key last;
  std::string hash;  ///< 64 hex digits
};
/// Nothing where there is no such file, or it cannot be understood (then `why` says so).
std::optional<Head> read_head(const std::filesystem::path& file, std::string* why = nullptr);
/// Whole or not at all, and on the disk when it returns.
Done write_head(const std::filesystem::path& file, const Head& head);

/// Writes `bytes` as a new file, whole or not at all, and on the disk when it returns.
Done write_durably(const std::filesystem::path& file, std::string_view bytes);

/// Keeps a proposal that the journal would not take, with all its bytes and the reason, as a JSON file.
/// Returns the file.
Expected<std::filesystem::path> set_aside(const std::filesystem::path& folder, const Proposal& proposal,
                                          const Error& why);
/// Files in the set-aside folder, oldest first.
std::vector<std::filesystem::path> list_set_aside(const std::filesystem::path& folder);

/// Name of the file system where it is one of other machines ("nfs", "smb", ...), else empty. `magic` is
/// statfs's f_type, `type` the mount's type as /proc/self/mountinfo names it (for the many that are "fuse").
std::string network_share(std::uint64_t magic, std::string_view type);
/// Error "network_share" where `folder` (or its nearest parent that exists) lies on one.
Done check_local(const std::filesystem::path& folder);

}  // namespace tallystick::record
