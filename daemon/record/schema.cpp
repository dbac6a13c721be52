#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/schema.hpp"

#include <boost/describe.hpp>
#include <boost/mp11/algorithm.hpp>
#include <fstream>

#include "daemon/walk/fact.hpp"

namespace tallystick::record {

namespace {

std::string fact_table() {
  std::string sql =
      "CREATE TABLE fact(branch INTEGER NOT NULL, seq INTEGER NOT NULL, n INTEGER NOT NULL CHECK(n > 0)";
  using Members = mirror::MembersOf<Fact>;
  boost::mp11::mp_for_each<Members>([&](auto member) {
    using Member = std::remove_cvref_t<decltype(std::declval<Fact>().*member.pointer)>;
    sql += std::string(", \"") + member.name + "\"" +
           (std::is_same_v<Member, std::string> ? " TEXT NOT NULL" : " INTEGER NOT NULL");
  });
  return sql +
         ", PRIMARY KEY(branch, seq, n), FOREIGN KEY(branch, seq) REFERENCES entry(branch, seq) DEFERRABLE "
         "INITIALLY DEFERRED) STRICT, WITHOUT ROWID";
}

void add_guards(std::vector<SchemaObject>& out, const std::string& table, const std::string& taken) {
  const auto refuse = [&](const char* name, const std::string& when, const char* how, const char* why) {
    const std::string trigger = table + "_" + name;
    out.push_back({"trigger", trigger,
                   "CREATE TRIGGER " + trigger + " BEFORE " + when + " BEGIN SELECT RAISE(" + how + ", '" +
                       why + "'); END"});
  };
  refuse("never_updated", "UPDATE ON " + table, "ABORT", "the journal is never changed");
  refuse("never_deleted", "DELETE ON " + table, "ABORT", "nothing is deleted from the journal");
  // REPLACE fires no DELETE trigger on a connection without recursive triggers: this one stops it on any
  // connection. ROLLBACK, and foreign keys that are looked at with the commit: where a statement could end by
  // itself SQLite keeps a copy of each page that every insert touches, which costs three times what the
  // insert does.
  refuse("never_replaced", "INSERT ON " + table + " WHEN " + taken, "ROLLBACK",
         "the journal is never changed");
}

std::vector<SchemaObject> build() {
  std::vector<SchemaObject> out;
  const auto table = [&](const char* name, std::string sql) {
    out.push_back({"table", name, std::move(sql)});
  };
  const auto index = [&](const char* name, const std::string& rest) {
    out.push_back({"index", name, std::string("CREATE INDEX ") + name + " ON " + rest});
  };
  table("format",
        "CREATE TABLE format(version INTEGER PRIMARY KEY, release TEXT NOT NULL, utc_us INTEGER NOT NULL) "
        "STRICT");
  table("setting", "CREATE TABLE setting(name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT");
  table("branch",
        "CREATE TABLE branch(number INTEGER PRIMARY KEY CHECK(number > 0), journal TEXT NOT NULL UNIQUE "
        "CHECK(length(journal) = 32), parent INTEGER REFERENCES branch(number), parent_seq INTEGER, "
        "parent_hash BLOB, "
        "who TEXT NOT NULL, why TEXT NOT NULL, machine TEXT, breaks TEXT, utc_us INTEGER NOT NULL) STRICT");
  table("entry",
        "CREATE TABLE entry(branch INTEGER NOT NULL REFERENCES branch(number) DEFERRABLE INITIALLY DEFERRED, "
        "seq INTEGER NOT NULL "
        "CHECK(seq > 0), "
        "kind TEXT NOT NULL CHECK(kind <> ''), version INTEGER NOT NULL CHECK(version > 0), rules INTEGER "
        "NOT NULL, "
        "utc_us INTEGER NOT NULL, steady_ns INTEGER NOT NULL, boot TEXT NOT NULL, clock TEXT NOT NULL "
        "CHECK(clock IN ('trusted', 'untrusted')), bench TEXT, walk TEXT, person TEXT, lot TEXT, gauge TEXT, "
        "input TEXT NOT NULL, raw BLOB, outcome TEXT NOT NULL, attachments TEXT, "
        "previous BLOB NOT NULL CHECK(length(previous) = 32), hash BLOB NOT NULL CHECK(length(hash) = 32), "
        "PRIMARY KEY(branch, seq)) STRICT");
  table("blob",
        "CREATE TABLE blob(sha256 TEXT PRIMARY KEY CHECK(length(sha256) = 64), media_type TEXT NOT NULL, "
        "bytes BLOB NOT NULL) STRICT");
  table("fact", fact_table());
  // Where the facts of a lot, part, walk or time, and the events of a walk lie: written in quiet moments, as far as
  // `finder_reach` says, so that a press does not wait for five indexes. What lies behind is looked through.
  table("finder",
        "CREATE TABLE finder(what TEXT NOT NULL CHECK(what IN ('lot', 'part', 'walk', 'time', 'event')), value TEXT "
        "NOT NULL, branch INTEGER NOT NULL, seq INTEGER NOT NULL, n INTEGER NOT NULL, PRIMARY KEY(what, value, branch, "
        "seq, n)) STRICT, WITHOUT ROWID");
  table("finder_reach", "CREATE TABLE finder_reach(branch INTEGER PRIMARY KEY, seq INTEGER NOT NULL) STRICT");
  index("fact_overrules", "fact(overrules, branch, seq) WHERE overrules <> ''");
  table("checkpoint",
        "CREATE TABLE checkpoint(branch INTEGER NOT NULL, seq INTEGER NOT NULL, state TEXT NOT NULL, "
        "PRIMARY KEY(branch, seq)) STRICT");
  add_guards(out, "branch",
             "EXISTS(SELECT 1 FROM branch WHERE number = NEW.number OR journal = NEW.journal)");
  add_guards(out, "entry",
             "NEW.seq <> 1 + (SELECT coalesce(max(seq), 0) FROM entry WHERE branch = NEW.branch) "
             "OR EXISTS(SELECT 1 FROM entry WHERE rowid = NEW.rowid)");
  add_guards(
      out, "blob",
      "EXISTS(SELECT 1 FROM blob WHERE sha256 = NEW.sha256) OR EXISTS(SELECT 1 FROM blob WHERE rowid = "
      "NEW.rowid)");
  add_guards(out, "fact",
             "EXISTS(SELECT 1 FROM fact WHERE branch = NEW.branch AND seq = NEW.seq AND n = NEW.n)");
  return out;
}

Error newer(std::int64_t found, const std::string& where) {
  return {"newer_format",
          "the journal has format " + std::to_string(found) + ", this release knows formats up to " +
              std::to_string(format_version) + "; it was not touched",
          where, "use the release that wrote it, or a newer one"};
}
Error not_ours(const std::string& where) {
  return {"not_a_journal", "the file is not a journal of this project; it was not touched", where,
          "name the data folder that the daemon made, or an empty one"};
}

}  // namespace

const std::vector<SchemaObject>& schema() {
  static const std::vector<SchemaObject> objects = build();
  return objects;
}

std::span<const Migration> migrations() { return {}; }

int make_schema(Connection& connection, std::int64_t utc_us) {
  for (const auto& object : schema())
    if (const int code = connection.run(object.sql); code != SQLITE_OK) return code;
  const std::string version = std::to_string(format_version);
  return connection.run("INSERT INTO format VALUES(" + version + ", '" + release_text + "', " +
                        std::to_string(utc_us) + "); PRAGMA user_version = " + version +
                        "; PRAGMA application_id = " + std::to_string(application_mark));
}

Done migrate(Connection& connection, std::int64_t found, std::int64_t to, std::span<const Migration> steps,
             std::int64_t utc_us) {
  while (found < to) {
    const auto step =
        std::find_if(steps.begin(), steps.end(), [&](const Migration& m) { return m.from == found; });
    if (step == steps.end())
      return fail("no_migration",
                  "no way from format " + std::to_string(found) + " to " + std::to_string(found + 1), "",
                  "open it with the release that wrote it");
    const std::string next = std::to_string(found + 1);
    const std::string sql = "BEGIN IMMEDIATE; " + step->sql + "; INSERT INTO format VALUES(" + next + ", '" +
                            release_text + "', " + std::to_string(utc_us) +
                            "); PRAGMA user_version = " + next + "; COMMIT";
    if (connection.run(sql) != SQLITE_OK) {
      auto error = connection.fault("cannot_migrate");
      if (sqlite3_get_autocommit(connection.handle()) == 0) connection.run("ROLLBACK");
      return tl::unexpected<Error>(std::move(error));
    }
    ++found;
  }
  return {};
}

int prepare_for_writing(Connection& connection) {
  sqlite3_busy_timeout(connection.handle(), 200);
  // EXTRA until WAL is on: with less, a rollback journal whose unlinking a power loss forgot would undo the
  // file.
  if (const int code = connection.run("PRAGMA synchronous = EXTRA"); code != SQLITE_OK) return code;
  if (const auto mode = connection.text("PRAGMA journal_mode = WAL"); mode != "wal") {
    const int code = sqlite3_extended_errcode(connection.handle());
    return code == SQLITE_OK || code == SQLITE_DONE || code == SQLITE_ROW ? SQLITE_CANTOPEN : code;
  }
  return connection.run(
      "PRAGMA synchronous = FULL; PRAGMA recursive_triggers = ON; PRAGMA foreign_keys = ON; "
      "PRAGMA wal_autocheckpoint = 0; PRAGMA trusted_schema = OFF; "
      // Room for the pages of a big group and for the ends of all indexes: else they are written and read
      // twice.
      "PRAGMA cache_size = -8192; PRAGMA cache_spill = OFF");
}

int prepare_for_reading(Connection& connection) {
  sqlite3_busy_timeout(connection.handle(), 2000);
  return connection.run("PRAGMA query_only = ON; PRAGMA trusted_schema = OFF");
}

Expected<Found> look_at(const std::filesystem::path& file, bool machines_files) {
  if (!machines_files) return Found::journal;
  std::error_code code;
  if (!std::filesystem::exists(file, code)) return Found::absent;
  std::ifstream in(file, std::ios::binary);
  if (!in)
    return fail("cannot_open", "the journal cannot be read", file.string(), "make it readable for this user");
  std::array<char, 100> head{};
  in.read(head.data(), head.size());
  if (in.gcount() == 0) return Found::empty;
  if (in.gcount() < 100 || std::string_view(head.data(), 16) != std::string_view("SQLite format 3\0", 16))
    return tl::unexpected<Error>(not_ours(file.string()));
  const auto number = [&](std::size_t at) {
    std::uint32_t value = 0;
    for (std::size_t index = 0; index < 4; ++index)
      value = value << 8 | static_cast<unsigned char>(head[at + index]);
    return static_cast<std::int64_t>(value);
  };
  // Bytes 60 and 68 of an SQLite file: user_version and application_id (SQLite documentation, "Database File
  // Format").
  if (number(68) == application_mark && number(60) > format_version)
    return tl::unexpected<Error>(newer(number(60), file.string()));
  if (number(68) != application_mark && number(68) != 0)
    return tl::unexpected<Error>(not_ours(file.string()));
  return Found::journal;
}

Expected<Found> look_at(Connection& connection, std::int64_t& found) {
  int code = SQLITE_OK;
  const std::string where = connection.database().getFilename();
  const auto objects = connection.integer("SELECT count(*) FROM sqlite_schema", &code);
  if (code != SQLITE_OK)
    return tl::unexpected<Error>((code & 0xff) == SQLITE_NOTADB ? not_ours(where)
                                                                : connection.fault("cannot_open"));
  if (objects == 0) return Found::empty;
  if (connection.integer("PRAGMA application_id") != application_mark)
    return tl::unexpected<Error>(not_ours(where));
  found = connection.integer("PRAGMA user_version");
  if (found > format_version) return tl::unexpected<Error>(newer(found, where));
  return Found::journal;
}

Expected<Connection> open_to_read(const std::filesystem::path& file, const std::string& vfs) {
  auto seen = look_at(file, vfs.empty());
  if (!seen) return tl::unexpected<Error>(seen.error());
  if (*seen != Found::journal)
    return fail("not_a_journal", "there is no journal", file.string(),
                "name the data folder that the daemon made");
  auto connection = Connection::open(file, Connection::Mode::read_only, vfs);
  if (!connection) return tl::unexpected<Error>(connection.error());
  prepare_for_reading(*connection);
  std::int64_t format = 0;
  seen = look_at(*connection, format);
  if (!seen) return tl::unexpected<Error>(seen.error());
  if (*seen != Found::journal)
    return fail("not_a_journal", "the journal is empty", file.string(),
                "start the daemon once: it makes the journal");
  if (format < format_version)
    return fail("older_format", "the journal has format " + std::to_string(format), file.string(),
                "start the daemon of this release once: it brings the journal forward");
  return connection;
}

}  // namespace tallystick::record
