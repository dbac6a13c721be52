// Sees from outside when a commit of another process is durable, by the WAL index that SQLite shares between
// processes. The same way for every program that is measured, and without a line in any of them.
//
// SQLite ("WAL-mode File Format", section 2.1, sqlite.org/walformat.html): bytes 8 to 11 of the -shm file
// count the commits. With synchronous=FULL the writer syncs the WAL before it raises the count, so a count
// seen raised is a commit that no power cut takes back.
#pragma once

#include <cstdint>
#include <string>

namespace tallystick::bench {

class CommitProbe {
 public:
  /// Maps the -shm file, which must exist: the measured program has opened its database. Ends the process
  /// with a message where it cannot.
  explicit CommitProbe(const std::string& shared_file);
  ~CommitProbe();
  CommitProbe(const CommitProbe&) = delete;
  CommitProbe& operator=(const CommitProbe&) = delete;

  /// Commits up to now (wraps at 2^32; compare for difference).
  std::uint32_t commits() const { return __atomic_load_n(header_ + 2, __ATOMIC_ACQUIRE); }
  /// Frames in the WAL now (bytes 16 to 19).
  std::uint32_t frames() const { return __atomic_load_n(header_ + 4, __ATOMIC_ACQUIRE); }
  /// Waits, spinning, until `commits` is another than `before`; false after `limit_ns`.
  bool wait_past(std::uint32_t before, std::int64_t limit_ns) const;

 private:
  const std::uint32_t* header_ = nullptr;
};

/// Steady nanoseconds.
std::int64_t now_ns();
/// Nanoseconds of CPU that this thread has had: for work that waits for nothing, so that neighbours count
/// less.
std::int64_t cpu_ns();
/// For faults of the measurement itself: nothing sensible can follow.
[[noreturn]] void give_up(const std::string& what);

}  // namespace tallystick::bench
