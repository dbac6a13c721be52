// Reading the record: pages of events and facts, each its own short read on a read-only connection.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/cursor.hpp"
#include "daemon/record/place.hpp"
#include "daemon/walk/event.hpp"

namespace tallystick::record {

/// Members of Fact, in its order: index and count of the columns of a fact's row.
inline constexpr std::size_t fact_columns =
    boost::mp11::mp_size<mirror::MembersOf<Fact>>::value;
/// The columns' names, in Fact's order.
const std::array<std::string_view, fact_columns>& fact_column_names();

/// Empty members do not filter. Times are ISO 8601 with Z, as in Fact: `from_utc` <= measured_utc < `to_utc`.
struct FactFilter {
  std::string lot;  ///< key of the lot
  std::string lot_name;
  std::string part;  ///< key of the part
  std::string serial;
  std::string walk;
  std::string feature;
  std::string kind;  ///< "result", "mark", ...
  std::string gauge;
  std::string verdict;  ///< "accept", "reject"; of marks "suspect", "cleared"
  std::string from_utc, to_utc;
  bool suspect = false;  ///< only facts on which a suspect mark stands, whatever the view
};

/// `all`: every fact ever given. `as_of_now`: without the facts that later facts of the current branch's path
/// overrule.
enum class View : std::uint8_t { all, as_of_now };

struct FactRow {
  Key event;
  std::uint64_t n = 0;  ///< counts an event's facts from 1
  Fact fact;
};
struct FactPage {
  std::vector<FactRow> rows;
  Cursor next;        ///< go on from here, also when `rows` is empty
  bool more = false;  ///< false: the end was reached (new facts may come later; `next` stays good for them)
};
struct EventPage {
  std::vector<Event> events;
  Cursor next;
  bool more = false;
};

/// A fact's row as SQLite hands it over, for exports that copy bytes. Views are valid until the callback
/// returns.
class RawFact {
 public:
  std::string_view journal() const { return journal_; }
  std::uint64_t seq() const { return seq_; }
  std::uint64_t n() const { return n_; }
  /// Text of column `index` in Fact's order; flags are "0" or "1", numbers decimal.
  std::string_view column(std::size_t index) const;

 private:
  friend class Reader;
  std::string_view journal_;
  std::uint64_t seq_ = 0, n_ = 0;
  void* row_ = nullptr;
};
/// Where a sweep over raw rows ended.
struct Swept {
  Cursor next;
  std::size_t rows = 0;
  bool more = false;
};

struct Checkpoint {
  Key at;
  std::string state;  ///< opaque JSON, as Writer::checkpoint was given it
};

struct Counts {
  std::uint64_t branches = 0, events = 0, facts = 0, blobs = 0;
};

/// A branch of the journal. The first has no parent.
struct Branch {
  std::int64_t number = 0;
  std::string journal;
  std::int64_t parent = 0;  ///< 0: none
  std::uint64_t parent_seq = 0;
  std::string parent_hash;  ///< 32 raw bytes, empty: none
  std::string who, why;
  std::int64_t utc_us = 0;
  std::uint64_t last_seq = 0;  ///< of its events in this file
};

/// A cursor that points past a branch point: what it names no longer lies on the current branch's path.
struct BranchPoint {
  Key point;     ///< last event that the cursor's branch shares with the current one
  Cursor go_on;  ///< from here everything comes that its owner cannot have
};

/// One read-only connection. Not thread-safe: one thread at a time. Each call is a short read and sees what
/// was committed when it began. Several readers may run beside the writer.
///
/// Errors of every call: "cannot_read" (the disk or the file), "not_a_journal", "newer_format".
/// Errors of calls with a cursor: "past_branch_point" (410: `branch_point` tells how to go on),
/// "unknown_cursor" (its journal is not in this file, or it names an event that is not there yet: 410, begin
/// anew). Events and facts come in the order of the current branch's path: the first branch up to the next
/// one's branch point, and so on.
class Reader {
 public:
  static Expected<std::unique_ptr<Reader>> open(const Place& place);
  /// Any journal file: a backup, a journal of another release.
  static Expected<std::unique_ptr<Reader>> open_file(const std::filesystem::path& file,
                                                     const std::string& vfs = {});
  ~Reader();

  Expected<EventPage> events_after(const Cursor& cursor, std::size_t limit);
  /// The events whose `walk` is `walk`, and the one that began it, in order.
  Expected<EventPage> events_of_walk(std::string_view walk, const Cursor& cursor, std::size_t limit);
  Expected<std::optional<Event>> event(const Key& key);

  Expected<FactPage> facts_after(const Cursor& cursor, const FactFilter& filter, std::size_t limit,
                                 View view = View::all);
  /// The same rows as facts_after, by callback and without building a Fact. `row` returning false ends the
  /// sweep after that row. Page on with `Swept::next`; a page of some thousand rows is a short read.
  Expected<Swept> sweep_facts(const Cursor& cursor, const FactFilter& filter, std::size_t limit, View view,
                              const std::function<bool(const RawFact&)>& row);
  /// Newest first: facts before `before` (empty: from the end), which is the fact itself or a place behind it. Looks
  /// through a bounded part of the record in one call: with `more` and few or no rows go on from `next`.
  Expected<FactPage> facts_before(const Cursor& before, const FactFilter& filter, std::size_t limit,
                                  View view = View::all);
  /// Events of one kind, newest first; bounded likewise. A position behind a fact of an event has that event before it.
  Expected<EventPage> events_before(const Cursor& before, std::string_view kind, std::size_t limit);
  Expected<std::optional<FactRow>> fact(const Key& event, std::uint64_t n);
  /// Of each key of a fact: "suspect" (a mark on it stands), "cleared" (all have ended), or "" (it was never marked).
  Expected<std::vector<std::string>> mark_states(const std::vector<std::string>& facts);
  Expected<std::optional<FactRow>> last_fact(const FactFilter& filter);

  Expected<std::optional<BranchPoint>> branch_point(const Cursor& cursor);
  Expected<std::vector<Branch>> branches();
  /// Position after the newest event (for clients that want only what comes).
  Expected<Cursor> end();

  Expected<std::optional<Attachment>> blob(std::string_view sha256);
  /// The newest checkpoint on the current branch's path; events_after(cursor of its `at`) brings the rest.
  Expected<std::optional<Checkpoint>> newest_checkpoint();
  Expected<Counts> counts();

 private:
  struct Inside;
  explicit Reader(std::unique_ptr<Inside> inside);
  std::unique_ptr<Inside> inside_;
};

}  // namespace tallystick::record
