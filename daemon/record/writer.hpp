// The one thread that writes: group commit of proposals into the journal.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/walk/event.hpp"

namespace tallystick::record {

/// How the writer stands. `kept == false` means that nothing is being kept now; `why` says so in words for
/// the page.
struct Keeping {
  bool kept = true;
  std::string code;  ///< "disk_full", "read_only", "locked", "io_error", "broken_chain", ...
  std::string why;
  std::string hint;
};

/// What became of one proposal: its key once it is durable, or why this very one was set aside (its bytes are
/// kept beside the journal). Faults of the disk do not end a proposal: it stays first in the queue until it
/// is written.
using Committed = std::function<void(Expected<Key>)>;

/// Writes in the order of submission, in groups of whatever queued while the last commit ran; one fdatasync a
/// group. All calls come from one thread; callbacks are run through `post` (the caller's executor), in order
/// of submission.
class Writer {
 public:
  struct Hooks {
    std::function<void(std::function<void()>)> post;  ///< runs a job on the caller's thread
    std::function<void(const Keeping&)> keeping;      ///< on change only, through `post`
  };
  virtual ~Writer() = default;
  virtual void submit(Proposal proposal, Committed committed) = 0;
  /// Commits what is queued, checkpoints the WAL, writes the head file, and stops the thread.
  virtual void stop() = 0;
  /// Keeps the daemon's state as of `at` (opaque JSON), so that a start need not replay everything. Not part
  /// of the chain; written in a quiet moment.
  virtual void checkpoint(Key at, std::string state) = 0;
  /// Sign of life: `turned` runs through `post` once the writing thread has come round, also while it waits for a
  /// full or faulty disk; not while a single write hangs. An earlier one that waits still is dropped. The default is for
  /// writers of tests, which have no thread.
  virtual void turn(std::function<void()> turned) { turned(); }
};

}  // namespace tallystick::record
