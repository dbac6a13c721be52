// The journal's data folder: opening it to write, its lock, its branches.
#pragma once

#include <chrono>
#include <memory>
#include <optional>
#include <string>

#include "daemon/measure/error.hpp"
#include "daemon/record/place.hpp"
#include "daemon/record/writer.hpp"

namespace tallystick::record {

/// What opening to write is told from outside: this room reads no clock of its own.
struct Opening {
  Place place;
  Stamp now;            ///< of the event "journal_branched", where one is written
  std::string machine;  ///< of `machine_id()`; empty: not known, which is no sign of another machine
  std::string who = "daemon";
};

/// How the journal stood when it was opened, for the log and the pages.
struct Standing {
  std::int64_t branch = 0;
  std::string journal;    ///< id of the current branch
  bool created = false;   ///< there was no journal
  bool branched = false;  ///< a new branch was begun: `why` says so, `kept_until` names the last event before
  std::string why;
  Key kept_until;
  Key last;  ///< newest event
  bool marked = false;
};

/// How the writer waits. Defaults are the daemon's; tests shorten them.
struct Pace {
  std::chrono::milliseconds quiet{1000};  ///< without a submission: head file, WAL checkpoint, kept state
  std::chrono::milliseconds retry_first{50}, retry_longest{2000};
  std::chrono::milliseconds stop_within{
      5000};                            ///< stop() gives a faulty disk so long, then sets aside the rest
  std::size_t group_most = 1024;        ///< events in one commit
  std::uint64_t wal_most_pages = 4096;  ///< checkpoint even without a quiet moment (16 MiB)
};

/// An opened journal: holds the lock until it is destroyed. The writer must be stopped before.
class Journal {
 public:
  /// Opens, or creates, the journal to write. Begins a new branch when it is created, when it is a marked
  /// copy (a backup), when it ends before the head file says, or when the machine is another one. Errors:
  /// "network_share", "locked" (names the process), "newer_format", "not_a_journal", "cannot_open",
  /// "broken_chain" (its newest events do not follow from each other: `confirm_break` goes on in a new
  /// branch). Blocking: reads the newest thousand events, not the whole chain (`verify` does that).
  static Expected<std::unique_ptr<Journal>> open(const Opening& opening);
  virtual ~Journal() = default;

  virtual const Standing& standing() const = 0;
  /// Starts the writing thread. Once for a journal.
  virtual std::unique_ptr<Writer> writer(Writer::Hooks hooks, Pace pace = {}) = 0;
};

/// A person states that the break in the chain is known: measuring goes on in a new branch whose row names
/// the broken places. Checks the whole chain first. Error "no_break" when it is sound; else as Journal::open.
Expected<Standing> confirm_break(const Opening& opening, const std::string& why);

/// The machine's id, hashed so that the id itself does not leave the machine; empty where there is none.
std::string machine_id(const std::filesystem::path& file = "/etc/machine-id");

}  // namespace tallystick::record
