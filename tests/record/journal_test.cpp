#include <doctest/doctest.h>

#include <fstream>

#include "daemon/record/folder.hpp"
#include "daemon/record/schema.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

TEST_CASE("a key's text is read back, and nothing else is a key") {
  const Key key{"0123456789abcdef0123456789abcdef", 42};
  CHECK(text(key) == "0123456789abcdef0123456789abcdef-42");
  CHECK(key_from(text(key)) == key);
  CHECK(text(Key{}).empty());
  for (const char* wrong :
       {"", "42", "0123456789abcdef0123456789abcdef", "0123456789abcdef0123456789abcdef-",
        "0123456789abcdef0123456789abcdef-0", "0123456789abcdef0123456789abcdef-01",
        "0123456789ABCDEF0123456789abcdef-1", "0123456789abcdef0123456789abcdef-1x",
        "0123456789abcdef0123456789abcdef-9223372036854775808", "0123456789abcdef0123456789abcdef_1"})
    CHECK_MESSAGE(!key_from(wrong), wrong);
}

TEST_CASE("an event is read back as it was submitted, chained to the one before") {
  const Folder folder;
  const auto keys = write_events(opening(folder.place()), 1, 3);
  REQUIRE(keys.size() == 3);
  CHECK(keys[0].seq == 2);  // the first event of a branch says that it began
  auto reader = Reader::open(folder.place());
  REQUIRE(reader);
  const auto page = (*reader)->events_after({}, 100);
  REQUIRE(page);
  REQUIRE(page->events.size() == 4);
  CHECK_FALSE(page->more);
  const auto& event = page->events[2];
  const auto sent = proposal(2);
  CHECK(event.key == keys[1]);
  CHECK(event.content.kind == sent.kind);
  CHECK(event.content.stamp == sent.stamp);
  CHECK(event.content.bench == sent.bench);
  CHECK(event.content.walk.empty());
  CHECK(event.content.gauge == sent.gauge);
  CHECK(event.content.person == sent.person);
  CHECK(event.content.input == sent.input);
  CHECK(event.content.raw == sent.raw);
  CHECK(event.content.outcome == sent.outcome);
  CHECK(event.previous == page->events[1].hash);
  CHECK(event.hash.size() == 32);
  const auto facts = (*reader)->facts_after({}, {}, 100);
  REQUIRE(facts);
  REQUIRE(facts->rows.size() == 3);
  CHECK(facts->rows[1].event == keys[1]);
  CHECK(facts->rows[1].n == 1);
  CHECK(facts->rows[1].fact == sent.facts[0]);
}

TEST_CASE("bytes of any value survive: raw bytes with zeros, text with quotes and zeros") {
  const Folder folder;
  auto odd = proposal(1, {});
  odd.raw = std::string("\0\xff\x80'\";\n", 7);
  odd.input = std::string("{\"a\":\"it's\"}");
  odd.person = std::string("a\0b", 3);
  write_events(opening(folder.place()), {odd});
  auto reader = Reader::open(folder.place());
  REQUIRE(reader);
  const auto page = (*reader)->events_after({}, 10);
  REQUIRE(page);
  REQUIRE(page->events.size() == 2);
  CHECK(page->events[1].content.raw == odd.raw);
  CHECK(page->events[1].content.input == odd.input);
  CHECK(page->events[1].content.person == odd.person);
}

TEST_CASE(
    "the journal's tables refuse update, delete and replace, on a connection with SQLite's own settings "
    "too") {
  const Folder folder;
  auto sent = proposal(1);
  sent.attachments.push_back(
      {"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "text/plain", "abc"});
  write_events(opening(folder.place()), {sent});
  for (const bool recursive : {true, false}) {
    auto connection = Connection::open(folder.place().journal(), Connection::Mode::read_write, "");
    REQUIRE(connection);
    REQUIRE(connection->run(recursive ? "PRAGMA recursive_triggers = ON"
                                      : "PRAGMA recursive_triggers = OFF") == SQLITE_OK);
    for (const std::string table : {"branch", "entry", "blob", "fact"}) {
      CAPTURE(table);
      const auto before = connection->integer("SELECT count(*) FROM " + table);
      REQUIRE(before > 0);
      CHECK(connection->run("DELETE FROM " + table) == SQLITE_CONSTRAINT_TRIGGER);
      const std::string column = table == "fact" ? "n" : "rowid";
      CHECK(connection->run("UPDATE " + table + " SET " + column + " = " + column) == SQLITE_CONSTRAINT_TRIGGER);
      CHECK(connection->run("REPLACE INTO " + table + " SELECT * FROM " + table) ==
            SQLITE_CONSTRAINT_TRIGGER);
      CHECK(connection->run("INSERT OR IGNORE INTO " + table + " SELECT * FROM " + table) ==
            SQLITE_CONSTRAINT_TRIGGER);
      CHECK(connection->integer("SELECT count(*) FROM " + table) == before);
    }
  }
}

TEST_CASE("a second process is told who holds the journal; the lock is free after the first has gone") {
  const Folder folder;
  {
    auto first = Journal::open(opening(folder.place()));
    REQUIRE(first);
    const auto second = Journal::open(opening(folder.place()));
    REQUIRE_FALSE(second);
    CHECK(second.error().code == "locked");
    CHECK(second.error().what.find(std::to_string(getpid())) != std::string::npos);
    CHECK_FALSE(second.error().hint.empty());
  }
  CHECK(Journal::open(opening(folder.place())));
}

TEST_CASE("a file that is no journal, or one of a newer format, is refused and not touched") {
  const Folder folder;
  const auto place = folder.place();
  std::filesystem::create_directories(place.data);
  std::string before;
  const char* expected = "not_a_journal";
  SUBCASE("some text") { std::ofstream(place.journal()) << std::string(300, 'x'); }
  SUBCASE("another program's database") {
    auto other = Connection::open(place.journal(), Connection::Mode::create, "");
    REQUIRE(other);
    REQUIRE(other->run("CREATE TABLE t(x); PRAGMA application_id = 77") == SQLITE_OK);
  }
  SUBCASE("a newer format") {
    write_events(opening(place), 1, 2);
    auto newer = Connection::open(place.journal(), Connection::Mode::read_write, "");
    REQUIRE(newer);
    REQUIRE(newer->run("PRAGMA user_version = 999") == SQLITE_OK);
    expected = "newer_format";
  }
  const auto content = [&] {
    std::ifstream in(place.journal(), std::ios::binary);
    return std::string(std::istreambuf_iterator<char>(in), {});
  };
  before = content();
  const auto journal = Journal::open(opening(place));
  REQUIRE_FALSE(journal);
  CHECK(journal.error().code == expected);
  CHECK_FALSE(journal.error().hint.empty());
  const auto reader = Reader::open(place);
  REQUIRE_FALSE(reader);
  CHECK(reader.error().code == expected);
  CHECK(content() == before);
}

TEST_CASE(
    "migration goes forward step by step, or stops at the step that failed and leaves the rest as it was") {
  const Folder folder;
  write_events(opening(folder.place()), 1, 2);
  auto connection = Connection::open(folder.place().journal(), Connection::Mode::read_write, "");
  REQUIRE(connection);
  const std::vector<Migration> steps = {{1, "CREATE TABLE added(x INTEGER) STRICT"},
                                        {2, "CREATE INDEX added_x ON added(x)"},
                                        {3, "CREATE TABLE half(x INTEGER) STRICT; CREATE TABLE added(y)"}};
  REQUIRE(migrate(*connection, 1, 3, steps, 7));
  CHECK(connection->integer("PRAGMA user_version") == 3);
  CHECK(connection->integer("SELECT max(version) FROM format") == 3);
  CHECK(connection->integer("SELECT count(*) FROM sqlite_schema WHERE name = 'added_x'") == 1);
  const auto failed = migrate(*connection, 3, 4, steps, 7);
  REQUIRE_FALSE(failed);
  CHECK(failed.error().code == "cannot_migrate");
  CHECK(connection->integer("PRAGMA user_version") == 3);
  CHECK(connection->integer("SELECT count(*) FROM sqlite_schema WHERE name = 'half'") == 0);
  const auto missing = migrate(*connection, 4, 5, steps, 7);
  REQUIRE_FALSE(missing);
  CHECK(missing.error().code == "no_migration");
}

// Magic numbers: Linux, include/uapi/linux/magic.h (NFS_SUPER_MAGIC, SMB_SUPER_MAGIC, ...), from memory.
TEST_CASE("network shares are known by their file system, a machine's own disk is none") {
  CHECK(network_share(0x6969, "nfs4") == "nfs");
  CHECK(network_share(0xFF534D42, "cifs") == "cifs");
  CHECK(network_share(0xFE534D42, "smb3") == "smb2");
  CHECK(network_share(0x01021997, "9p") == "9p");
  CHECK(network_share(0x65735546, "fuse.sshfs") == "fuse.sshfs");
  CHECK(network_share(0x65735546, "fuseblk").empty());
  CHECK(network_share(0xEF53, "ext4").empty());
  CHECK(network_share(0x01021994, "tmpfs").empty());
  CHECK(check_local(std::filesystem::temp_directory_path() / "not" / "there" / "yet"));
}
