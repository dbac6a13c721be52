#include "daemon/record/journal.hpp"

#include <openssl/rand.h>

#include "daemon/record/chain_check.hpp"
#include "daemon/record/entry_store.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/record/schema.hpp"
#include "daemon/record/verify.hpp"
#include "daemon/record/writer_thread.hpp"

namespace tallystick::record {

namespace {

constexpr std::uint64_t tail_checked_at_start = 1000;

std::string new_journal_id() {
  Hash random{};
  // Without randomness two journals could share an id; there is no honest way on.
  if (RAND_bytes(random.data(), 16) != 1) std::abort();
  return hex(bytes(random).substr(0, 16));
}

/// Brings the file to this release's format, whether it was there or not. Returns true when it was made now.
Expected<bool> make_or_migrate(const Opening& opening) {
  const auto& place = opening.place;
  auto seen = look_at(place.journal(), place.vfs.empty());
  if (!seen) return tl::unexpected<Error>(seen.error());
  auto connection = Connection::open(place.journal(), Connection::Mode::create, place.vfs);
  if (!connection) return tl::unexpected<Error>(connection.error());
  std::int64_t format = 0;
  seen = look_at(*connection, format);
  if (!seen) return tl::unexpected<Error>(seen.error());
  if (*seen == Found::journal && format == format_version) return false;
  if (prepare_for_writing(*connection) != SQLITE_OK)
    return tl::unexpected<Error>(connection->fault("cannot_open"));
  if (*seen == Found::journal) {
    if (auto done = migrate(*connection, format, format_version, migrations(), opening.now.utc_us); !done)
      return tl::unexpected<Error>(done.error());
    return false;
  }
  int code = connection->run("BEGIN IMMEDIATE");
  if (code == SQLITE_OK) code = make_schema(*connection, opening.now.utc_us);
  if (code == SQLITE_OK) code = connection->run("COMMIT");
  if (code != SQLITE_OK) return tl::unexpected<Error>(connection->fault("cannot_open"));
  return true;
}

/// Why a new branch must begin, empty where none must.
struct Need {
  std::string who, why;
  bool created = false, marked = false;
};

Expected<std::string> behind_head(EntryStore& store, const Place& place) {
  const auto head = read_head(place.head_file());
  if (!head) return std::string();
  Statement branch(store.connection(), "SELECT number FROM branch WHERE journal = ?");
  if (!branch.ready()) return tl::unexpected<Error>(store.fault("cannot_read"));
  branch.bind_text(1, head->last.journal);
  const int code = branch.step();
  if (code == SQLITE_DONE)
    return "the head file names " + text(head->last) +
           ", whose journal this file does not hold: it is an older copy, "
           "or another shop's";
  if (code != SQLITE_ROW) return tl::unexpected<Error>(store.fault("cannot_read"));
  const auto hash = store.hash_at(branch.integer(0), head->last.seq);
  if (!hash) return tl::unexpected<Error>(hash.error());
  if (hash->empty()) return "the journal ends before " + text(head->last) + ", which the head file names";
  if (hex(*hash) != head->hash)
    return text(head->last) + " is another event than the one that the head file names";
  return std::string();
}

Expected<Need> need_of_branch(EntryStore& store, const Opening& opening) {
  auto& connection = store.connection();
  Need need{opening.who, "", false, false};
  int code = SQLITE_OK;
  if (connection.integer("SELECT count(*) FROM branch", &code) == 0) {
    if (code != SQLITE_OK) return tl::unexpected<Error>(store.fault("cannot_read"));
    need.created = true;
    need.why = "the journal was created";
    return need;
  }
  if (const auto mark = connection.text("SELECT value FROM setting WHERE name = 'mark'"); !mark.empty()) {
    need.marked = true;
    const auto who = connection.text("SELECT value FROM setting WHERE name = 'mark_who'");
    if (!who.empty()) need.who = who;
    need.why = mark;
    return need;
  }
  auto behind = behind_head(store, opening.place);
  if (!behind) return tl::unexpected<Error>(behind.error());
  need.why = *behind;
  const auto machine = connection.text("SELECT machine FROM branch ORDER BY number DESC LIMIT 1");
  if (need.why.empty() && !machine.empty() && !opening.machine.empty() && machine != opening.machine)
    need.why = "the machine is another one than the one that wrote the journal so far";
  return need;
}

Expected<Tail> begin_branch(EntryStore& store, const Opening& opening, const Need& need,
                            const std::string& breaks) {
  Tail tail;
  BranchRow row;
  row.number = 1;
  if (!need.created) {
    auto before = store.tail();
    if (!before) return tl::unexpected<Error>(before.error());
    tail = *before;
    row.number = tail.branch + 1;
    row.parent = tail.branch;
    row.parent_seq = static_cast<std::int64_t>(tail.seq);
    row.parent_hash = std::string(bytes(tail.hash));
  }
  row.journal = new_journal_id();
  row.who = need.who;
  row.why = need.why;
  row.machine = opening.machine;
  row.breaks = breaks;
  row.utc_us = opening.now.utc_us;
  int code = store.begin();
  if (code == SQLITE_OK) code = store.insert_branch(row, opening.now, tail);
  if (code == SQLITE_OK)
    code = store.connection().run("DELETE FROM setting WHERE name IN ('mark', 'mark_who', 'mark_utc_us')");
  if (code == SQLITE_OK) code = store.commit();
  if (code != SQLITE_OK) {
    auto error = store.fault("cannot_open");
    store.rollback();
    return tl::unexpected<Error>(std::move(error));
  }
  return tail;
}

class OpenJournal final : public Journal {
 public:
  OpenJournal(Lock lock, Place place, Standing standing, Tail tail)
      : lock_(std::move(lock)),
        place_(std::move(place)),
        standing_(std::move(standing)),
        tail_(std::move(tail)) {}
  const Standing& standing() const override { return standing_; }
  std::unique_ptr<Writer> writer(Writer::Hooks hooks, Pace pace) override {
    return start_writer(place_, tail_, std::move(hooks), pace);
  }

 private:
  Lock lock_;
  Place place_;
  Standing standing_;
  Tail tail_;
};

struct Opened {
  Lock lock;
  EntryStore store;
  bool created = false;
};

Expected<Opened> open_folder(const Opening& opening) {
  const auto& place = opening.place;
  if (auto local = check_local(place.data); !local) return tl::unexpected<Error>(local.error());
  std::error_code code;
  std::filesystem::create_directories(place.data, code);
  auto lock = Lock::take(place.lock());
  if (!lock) return tl::unexpected<Error>(lock.error());
  auto created = make_or_migrate(opening);
  if (!created) return tl::unexpected<Error>(created.error());
  auto store = EntryStore::open(place);
  if (!store) return tl::unexpected<Error>(store.error());
  // What the daemon before this one could not sync is read here as if it were there: make it so.
  if (store->rewrite_wal() != SQLITE_OK) return tl::unexpected<Error>(store->fault("cannot_open"));
  return Opened{std::move(*lock), std::move(*store), *created};
}

Expected<Standing> standing_after(EntryStore& store, const Opening& opening, const Need& need, Tail& tail,
                                  const std::string& breaks) {
  Standing standing;
  if (!need.created) {
    auto before = store.tail();
    if (!before) return tl::unexpected<Error>(before.error());
    tail = *before;
    if (breaks.empty()) {
      auto broken = check_tail(store.connection(), tail, tail_checked_at_start);
      if (!broken) return tl::unexpected<Error>(broken.error());
      if (*broken) return tl::unexpected<Error>(**broken);
    }
    if (tail.seq > 0) standing.kept_until = Key{tail.journal, tail.seq};
  }
  if (!need.why.empty()) {
    auto begun = begin_branch(store, opening, need, breaks);
    if (!begun) return tl::unexpected<Error>(begun.error());
    tail = *begun;
    standing.branched = !need.created;
    standing.why = need.why;
    // At once: with the old head a second start would see a rolled-back journal again, and branch again.
    if (auto done = write_head(opening.place.head_file(), {{tail.journal, tail.seq}, hex(bytes(tail.hash))});
        !done)
      return tl::unexpected<Error>(done.error());
  }
  standing.created = need.created;
  standing.marked = need.marked;
  standing.branch = tail.branch;
  standing.journal = tail.journal;
  standing.last = Key{tail.journal, tail.seq};
  if (!standing.branched) standing.kept_until = standing.last;
  return standing;
}

}  // namespace

Expected<std::unique_ptr<Journal>> Journal::open(const Opening& opening) {
  auto opened = open_folder(opening);
  if (!opened) return tl::unexpected<Error>(opened.error());
  auto need = need_of_branch(opened->store, opening);
  if (!need) return tl::unexpected<Error>(need.error());
  Tail tail;
  auto standing = standing_after(opened->store, opening, *need, tail, "");
  if (!standing) return tl::unexpected<Error>(standing.error());
  return std::make_unique<OpenJournal>(std::move(opened->lock), opening.place, std::move(*standing),
                                       std::move(tail));
}

Expected<Standing> confirm_break(const Opening& opening, const std::string& why) {
  auto opened = open_folder(opening);
  if (!opened) return tl::unexpected<Error>(opened.error());
  VerifyOptions chain_only;
  chain_only.structure = false;
  chain_only.tables = false;
  const auto report = verify(opening.place.journal(), chain_only, opening.place.vfs);
  if (!report) return tl::unexpected<Error>(report.error());
  std::string breaks, last;
  for (const auto& finding : report->findings) {
    if (finding.confirmed || finding.code == "ends_before_head" || finding.where == last) continue;
    breaks += (breaks.empty() ? "" : " ") + finding.where;
    last = finding.where;
  }
  if (breaks.empty())
    return fail("no_break", "the chain holds: there is no break to confirm",
                opening.place.journal().string());
  const Need need{opening.who, "a break in the chain was confirmed: " + why, false, false};
  Tail tail;
  return standing_after(opened->store, opening, need, tail, breaks);
}

}  // namespace tallystick::record
