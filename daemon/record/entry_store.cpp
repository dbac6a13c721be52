#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/entry_store.hpp"

#include <boost/describe.hpp>
#include <boost/json.hpp>
#include <boost/mp11/algorithm.hpp>

#include "daemon/record/schema.hpp"

namespace tallystick::record {

namespace {

std::string insert_into(std::string_view table, std::size_t columns) {
  std::string sql = "INSERT OR ROLLBACK INTO " + std::string(table) + " VALUES(";
  for (std::size_t index = 0; index < columns; ++index) sql += index == 0 ? "?" : ",?";
  return sql + ")";
}

using FactMembers = mirror::MembersOf<Fact>;

int finish(Statement& statement) {
  const int code = statement.step();
  statement.reset();
  return code == SQLITE_DONE || code == SQLITE_ROW ? SQLITE_OK : code;
}

}  // namespace

Expected<EntryStore> EntryStore::open(const Place& place, Meaning* meaning) {
  if (meaning != nullptr) *meaning = Meaning::disk;
  auto connection = Connection::open(place.journal(), Connection::Mode::read_write, place.vfs);
  if (!connection) return tl::unexpected<Error>(connection.error());
  // SQLite falls back to reading where it may not write; that serves no writer.
  if (sqlite3_db_readonly(connection->handle(), "main") == 1) {
    if (meaning != nullptr) *meaning = Meaning::read_only;
    return fail("cannot_open", "the journal can only be read", place.journal().string(),
                "make the folder and its files writable for the daemon's user");
  }
  EntryStore store;
  store.connection_ = std::move(*connection);
  if (const int code = prepare_for_writing(store.connection_); code != SQLITE_OK) {
    if (meaning != nullptr) *meaning = meaning_of(code);
    return tl::unexpected<Error>(store.connection_.fault("cannot_open"));
  }
  sqlite3_wal_hook(
      store.connection_.handle(),
      [](void* pages, sqlite3*, const char*, int count) {
        *static_cast<std::uint64_t*>(pages) = static_cast<std::uint64_t>(count);
        return SQLITE_OK;
      },
      store.wal_pages_.get());
  const auto prepare = [&](Statement& statement, const std::string& sql) {
    statement = Statement(store.connection_, sql);
    return statement.ready();
  };
  const bool ready =
      prepare(store.entry_, insert_into("entry", entry_columns.size())) &&
      prepare(store.fact_, insert_into("fact", 3 + boost::mp11::mp_size<FactMembers>::value)) &&
      prepare(store.blob_,
              "INSERT OR ROLLBACK INTO blob SELECT ?1, ?2, ?3 WHERE NOT EXISTS(SELECT 1 FROM blob WHERE "
              "sha256 = ?1)") &&
      prepare(store.checkpoint_, "INSERT OR REPLACE INTO checkpoint VALUES(?, ?, ?)") &&
      prepare(store.forget_, "DELETE FROM checkpoint WHERE branch <> ?1 OR seq <> ?2") &&
      prepare(store.setting_,
              "INSERT INTO setting VALUES(?, ?) ON CONFLICT(name) DO UPDATE SET value = excluded.value");
  if (!ready) return tl::unexpected<Error>(store.connection_.fault("cannot_open"));
  return store;
}

void EntryStore::rollback() {
  // Some failures roll back by themselves.
  if (sqlite3_get_autocommit(connection_.handle()) == 0) connection_.run("ROLLBACK");
}

int EntryStore::insert(const Proposal& proposal, Tail& tail) {
  const std::string attachments = attachment_names(proposal);
  const Hash hash = entry_hash(*chain_, proposal, attachments, tail);
  if (const int code = insert_blobs(proposal); code != SQLITE_OK) return code;
  if (const int code = insert_entry(proposal, attachments, tail, hash); code != SQLITE_OK) return code;
  if (const int code = insert_facts(proposal, tail.branch, tail.seq + 1); code != SQLITE_OK) return code;
  ++tail.seq;
  tail.hash = hash;
  return SQLITE_OK;
}

int EntryStore::insert_entry(const Proposal& proposal, const std::string& attachments, const Tail& tail,
                             const Hash& hash) {
  Statement& s = entry_;
  s.bind(1, tail.branch);
  s.bind(2, tail.seq + 1);
  s.bind_text(3, proposal.kind);
  s.bind(4, std::int64_t{proposal.version});
  s.bind(5, std::int64_t{proposal.rules});
  s.bind(6, proposal.stamp.utc_us);
  s.bind(7, proposal.stamp.steady_ns);
  s.bind_text(8, proposal.stamp.boot);
  s.bind_text(9, proposal.stamp.clock);
  s.bind_text_or_null(10, proposal.bench);
  s.bind_text_or_null(11, proposal.walk);
  s.bind_text_or_null(12, proposal.person);
  s.bind_text_or_null(13, proposal.lot);
  s.bind_text_or_null(14, proposal.gauge);
  s.bind_text(15, proposal.input);
  if (proposal.raw.empty())
    s.bind_null(16);
  else
    s.bind_blob(16, proposal.raw);
  s.bind_text(17, proposal.outcome);
  s.bind_text_or_null(18, attachments);
  s.bind_blob(19, bytes(tail.hash));
  s.bind_blob(20, bytes(hash));
  return finish(s);
}

int EntryStore::insert_blobs(const Proposal& proposal) {
  for (const auto& attachment : proposal.attachments) {
    blob_.bind_text(1, attachment.sha256);
    blob_.bind_text(2, attachment.media_type);
    blob_.bind_blob(3, attachment.bytes);
    if (const int code = finish(blob_); code != SQLITE_OK) return code;
  }
  return SQLITE_OK;
}

int EntryStore::insert_facts(const Proposal& proposal, std::int64_t branch, std::uint64_t seq) {
  std::int64_t n = 0;
  for (const auto& fact : proposal.facts) {
    fact_.bind(1, branch);
    fact_.bind(2, seq);
    fact_.bind(3, ++n);
    bind_fact(fact);
    if (const int code = finish(fact_); code != SQLITE_OK) return code;
  }
  return SQLITE_OK;
}

void EntryStore::bind_fact(const Fact& fact) {
  int index = 3;
  boost::mp11::mp_for_each<FactMembers>([&](auto member) {
    const auto& value = fact.*member.pointer;
    if constexpr (std::is_same_v<std::remove_cvref_t<decltype(value)>, std::string>)
      fact_.bind_text(++index, value);
    else
      fact_.bind(++index, static_cast<std::int64_t>(value));
  });
}

int EntryStore::insert_branch(const BranchRow& row, const Stamp& now, Tail& tail) {
  Statement s(connection_, insert_into("branch", 10));
  if (!s.ready()) return s.code();
  s.bind(1, row.number);
  s.bind_text(2, row.journal);
  if (row.parent == 0) {
    for (const int index : {3, 4, 5}) s.bind_null(index);
  } else {
    s.bind(3, row.parent);
    s.bind(4, row.parent_seq);
    s.bind_blob(5, row.parent_hash);
  }
  s.bind_text(6, row.who);
  s.bind_text(7, row.why);
  s.bind_text_or_null(8, row.machine);
  s.bind_text_or_null(9, row.breaks);
  s.bind(10, row.utc_us);
  if (const int code = finish(s); code != SQLITE_OK) return code;

  const std::string kept_until = row.parent == 0 || row.parent_seq == 0
                                     ? ""
                                     : text(Key{tail.journal, static_cast<std::uint64_t>(row.parent_seq)});
  tail = Tail{row.number, row.journal, 0, branch_hash(*chain_, row)};
  Proposal first;
  first.kind = "journal_branched";
  first.stamp = now;
  first.input = boost::json::serialize(boost::json::object{{"branch", row.number},
                                                           {"journal", row.journal},
                                                           {"kept_until", kept_until},
                                                           {"who", row.who},
                                                           {"why", row.why},
                                                           {"breaks", row.breaks}});
  first.outcome = R"({"facts":[]})";
  return insert(first, tail);
}

int EntryStore::keep_checkpoint(std::int64_t branch, std::uint64_t seq, std::string_view state) {
  if (const int code = begin(); code != SQLITE_OK) return code;
  checkpoint_.bind(1, branch);
  checkpoint_.bind(2, seq);
  checkpoint_.bind_text(3, state);
  int code = finish(checkpoint_);
  if (code == SQLITE_OK) {
    forget_.bind(1, branch);
    forget_.bind(2, seq);
    code = finish(forget_);
  }
  if (code == SQLITE_OK) code = commit();
  if (code != SQLITE_OK) rollback();
  return code;
}

int EntryStore::extend_finder(bool& more) {
  constexpr std::uint64_t events_at_once = 512;
  more = false;
  std::int64_t branch = 0;
  std::uint64_t reach = 0, last = 0;
  {
    Statement behind(connection_,
                     "SELECT number, reach, last FROM (SELECT number, coalesce((SELECT seq FROM finder_reach WHERE "
                     "finder_reach.branch = number), 0) AS reach, coalesce((SELECT max(seq) FROM entry WHERE entry.branch = "
                     "number), 0) AS last FROM branch) WHERE reach < last ORDER BY number LIMIT 1");
    if (!behind.ready()) return behind.code();
    const int code = behind.step();
    if (code != SQLITE_ROW) return code == SQLITE_DONE ? SQLITE_OK : code;
    branch = behind.integer(0);
    reach = static_cast<std::uint64_t>(behind.integer(1));
    last = static_cast<std::uint64_t>(behind.integer(2));
  }
  const std::uint64_t until = std::min(last, reach + events_at_once);
  int code = begin();
  if (code == SQLITE_OK) code = finder_rows(branch, reach, until);
  if (code == SQLITE_OK) code = commit();
  if (code != SQLITE_OK) rollback();
  more = code == SQLITE_OK;   // the next call finds out
  return code;
}

int EntryStore::finder_rows(std::int64_t branch, std::uint64_t after, std::uint64_t until) {
  const auto run = [&](const std::string& sql) {
    Statement rows(connection_, sql);
    if (!rows.ready()) return rows.code();
    rows.bind(1, branch);
    rows.bind(2, after);
    rows.bind(3, until);
    return finish(rows);
  };
  const auto from_facts = [&](const std::string& what, const std::string& column) {
    return run("INSERT OR REPLACE INTO finder SELECT '" + what + "', \"" + column + "\", branch, seq, n FROM fact WHERE branch = ?1 AND seq > ?2 "
               "AND seq <= ?3 AND \"" + column + "\" <> ''");
  };
  int code = SQLITE_OK;
  for (const auto& [what, column] : {std::pair{"lot", "lot"}, std::pair{"part", "part"}, std::pair{"walk", "walk"}, std::pair{"time", "measured_utc"}})
    if (code == SQLITE_OK) code = from_facts(what, column);
  if (code == SQLITE_OK)
    code = run("INSERT OR REPLACE INTO finder SELECT 'event', walk, branch, seq, 0 FROM entry WHERE branch = ?1 AND seq > ?2 AND seq <= ?3 "
               "AND walk IS NOT NULL");
  if (code == SQLITE_OK) code = run("INSERT OR REPLACE INTO finder_reach SELECT ?1, ?3 WHERE ?3 > ?2");
  return code;
}

int EntryStore::put_setting(std::string_view name, std::string_view value) {
  setting_.bind_text(1, name);
  setting_.bind_text(2, value);
  return finish(setting_);
}

Expected<Tail> EntryStore::tail() {
  Statement branch(
      connection_,
      "SELECT number, journal, parent, parent_seq, parent_hash, who, why, machine, breaks, utc_us "
      "FROM branch ORDER BY number DESC LIMIT 1");
  if (!branch.ready() || !branch.row()) return tl::unexpected<Error>(connection_.fault("cannot_read"));
  Tail out{branch.integer(0), std::string(branch.text(1)), 0, {}};
  Statement last(connection_, "SELECT seq, hash FROM entry WHERE branch = ? ORDER BY seq DESC LIMIT 1");
  if (!last.ready()) return tl::unexpected<Error>(connection_.fault("cannot_read"));
  last.bind(1, out.branch);
  const int code = last.step();
  if (code == SQLITE_ROW) {
    out.seq = static_cast<std::uint64_t>(last.integer(0));
    out.hash = hash_from(last.blob(1));
  } else if (code == SQLITE_DONE) {
    out.hash = branch_hash(
        *chain_, {branch.integer(0), std::string(branch.text(1)), branch.integer(2), branch.integer(3),
                  std::string(branch.blob(4)), std::string(branch.text(5)), std::string(branch.text(6)),
                  std::string(branch.text(7)), std::string(branch.text(8)), branch.integer(9)});
  } else {
    return tl::unexpected<Error>(connection_.fault("cannot_read"));
  }
  return out;
}

Expected<std::string> EntryStore::hash_at(std::int64_t branch, std::uint64_t seq) {
  Statement find(connection_, "SELECT hash FROM entry WHERE branch = ? AND seq = ?");
  if (!find.ready()) return tl::unexpected<Error>(connection_.fault("cannot_read"));
  find.bind(1, branch);
  find.bind(2, seq);
  const int code = find.step();
  if (code == SQLITE_ROW) return std::string(find.blob(0));
  if (code == SQLITE_DONE) return std::string();
  return tl::unexpected<Error>(connection_.fault("cannot_read"));
}

Expected<bool> EntryStore::checkpoint_wal() {
  int pages = 0, moved = 0;
  const int code =
      sqlite3_wal_checkpoint_v2(connection_.handle(), nullptr, SQLITE_CHECKPOINT_PASSIVE, &pages, &moved);
  if (code != SQLITE_OK && (code & 0xff) != SQLITE_BUSY)
    return tl::unexpected<Error>(connection_.fault("cannot_write"));
  if (code != SQLITE_OK || pages != moved) return false;
  *wal_pages_ = 0;
  return true;
}

int EntryStore::rewrite_wal() {
  // Holding the write lock: nobody appends to the WAL or begins it anew meanwhile.
  if (const int code = begin(); code != SQLITE_OK) return code;
  sqlite3_file* wal = nullptr;
  int code = sqlite3_file_control(connection_.handle(), "main", SQLITE_FCNTL_JOURNAL_POINTER, &wal);
  sqlite3_int64 size = 0;
  if (code == SQLITE_OK && wal != nullptr && wal->pMethods != nullptr)
    code = wal->pMethods->xFileSize(wal, &size);
  std::string piece(std::size_t{1} << 16, '\0');
  for (sqlite3_int64 at = 0; code == SQLITE_OK && at < size;) {
    const auto count =
        static_cast<int>(std::min<sqlite3_int64>(size - at, static_cast<sqlite3_int64>(piece.size())));
    code = wal->pMethods->xRead(wal, piece.data(), count, at);
    if (code == SQLITE_OK) code = wal->pMethods->xWrite(wal, piece.data(), count, at);
    at += count;
  }
  if (code == SQLITE_OK && size > 0) code = wal->pMethods->xSync(wal, SQLITE_SYNC_NORMAL);
  rollback();
  return code;
}

}  // namespace tallystick::record
