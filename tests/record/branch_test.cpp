// Where the record begins a new branch, so that one key never names two readings.
#include <doctest/doctest.h>

#include <fstream>
#include <set>

#include "daemon/record/backup.hpp"
#include "daemon/record/folder.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

namespace {

Standing standing_of(const Opening& how) {
  auto journal = Journal::open(how);
  REQUIRE(journal);
  return (*journal)->standing();
}

void check_sound(const Place& place) {
  VerifyOptions options;
  options.head_file = place.head_file();
  const auto report = verify(place.journal(), options);
  REQUIRE(report);
  for (const auto& finding : report->findings) FAIL_CHECK(finding.where << ": " << finding.what);
}

/// Changes the file as somebody with an editor might: with the guards taken away and put back.
void tamper(const Place& place, const std::string& table, const std::string& sql) {
  auto connection = Connection::open(place.journal(), Connection::Mode::read_write, "");
  REQUIRE(connection);
  std::vector<std::string> guards;
  {
    Statement rows(
        *connection,
        "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = '" + table + "'");
    std::vector<std::string> names;
    while (rows.row()) {
      names.emplace_back(rows.text(0));
      guards.emplace_back(rows.text(1));
    }
    rows.reset();
    for (const auto& name : names) REQUIRE(connection->run("DROP TRIGGER " + name) == SQLITE_OK);
  }
  REQUIRE(connection->run(sql) == SQLITE_OK);
  REQUIRE(sqlite3_changes(connection->handle()) > 0);
  for (const auto& guard : guards) REQUIRE(connection->run(guard) == SQLITE_OK);
}

}  // namespace

TEST_CASE("a journal that is opened again on the same machine goes on in its branch") {
  const Folder folder;
  const auto first = standing_of(opening(folder.place()));
  CHECK(first.created);
  CHECK_FALSE(first.branched);
  write_events(opening(folder.place()), 1, 3);
  const auto second = standing_of(opening(folder.place()));
  CHECK_FALSE(second.created);
  CHECK_FALSE(second.branched);
  CHECK(second.journal == first.journal);
  CHECK(second.last.seq == 4);
}

TEST_CASE("back up, measure ten, restore, measure ten others: both twenties are told apart by key") {
  const Folder folder;
  const auto place = folder.place(), restored = folder.place("restored");
  auto before = write_events(opening(place), 1, 10);
  const auto copied = backup(place.journal(), folder.path() / "noon.sqlite3", stamp(100));
  REQUIRE(copied);
  CHECK(copied->last == before.back());
  CHECK(copied->checked.marked);
  CHECK(copied->checked.sound());
  const auto lost = write_events(opening(place), 11, 10);
  const auto made = restore(folder.path() / "noon.sqlite3", restored, "it", "disk replaced");
  REQUIRE(made);
  const auto standing = standing_of(opening(restored));
  CHECK(standing.branched);
  CHECK(standing.marked);
  CHECK(standing.kept_until == before.back());
  const auto others = write_events(opening(restored), 101, 10);
  std::set<Key> all(before.begin(), before.end());
  all.insert(lost.begin(), lost.end());
  all.insert(others.begin(), others.end());
  CHECK(all.size() == 30);
  check_sound(restored);

  auto reader = Reader::open(restored);
  REQUIRE(reader);
  const auto branches = (*reader)->branches();
  REQUIRE(branches);
  REQUIRE(branches->size() == 2);
  CHECK((*branches)[1].who == "it");
  CHECK((*branches)[1].why.find("disk replaced") != std::string::npos);
  CHECK((*branches)[1].parent_seq == before.back().seq);
  const auto facts = (*reader)->facts_after({}, {}, 100);
  REQUIRE(facts);
  REQUIRE(facts->rows.size() == 20);
  CHECK(facts->rows[9].event == before[9]);
  CHECK(facts->rows[10].event == others[0]);

  // Who had read to the end of what is lost gets the branch point, and the way on from there.
  const Cursor past{lost.back().journal, lost.back().seq, 1};
  const auto refused = (*reader)->facts_after(past, {}, 100);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().code == "past_branch_point");
  const auto point = (*reader)->branch_point(past);
  REQUIRE(point);
  REQUIRE(*point);
  CHECK((*point)->point == before.back());
  const auto on = (*reader)->facts_after((*point)->go_on, {}, 100);
  REQUIRE(on);
  REQUIRE(on->rows.size() == 10);
  CHECK(on->rows[0].event == others[0]);
  // A cursor before the branch point just goes on.
  CHECK((*reader)->facts_after({before[4].journal, before[4].seq, 1}, {}, 100)->rows.size() == 15);
}

TEST_CASE("a backup is marked; as it lies there it is read and verified, and nothing is overwritten") {
  const Folder folder;
  write_events(opening(folder.place()), 1, 5);
  const auto file = folder.path() / "b.sqlite3";
  REQUIRE(backup(folder.place().journal(), file, stamp()));
  CHECK_FALSE(std::filesystem::exists(file.string() + "-wal"));
  CHECK_FALSE(std::filesystem::exists(file.string() + ".part"));
  auto reader = Reader::open_file(file);
  REQUIRE(reader);
  CHECK((*reader)->counts()->events == 6);
  const auto again = backup(folder.place().journal(), file, stamp());
  REQUIRE_FALSE(again);
  CHECK(again.error().code == "exists");
  const auto over = restore(file, folder.place(), "it", "");
  REQUIRE_FALSE(over);
  CHECK(over.error().code == "exists");
}

TEST_CASE("a data folder that was rolled back begins a new branch, once") {
  const Folder folder;
  const auto place = folder.place();
  write_events(opening(place), 1, 5);
  const auto old = folder.path() / "old.sqlite3";
  std::filesystem::copy_file(place.journal(), old);
  const auto lost = write_events(opening(place), 6, 5);
  std::filesystem::copy_file(old, place.journal(), std::filesystem::copy_options::overwrite_existing);
  const auto standing = standing_of(opening(place));
  CHECK(standing.branched);
  CHECK(standing.why.find(text(lost.back())) != std::string::npos);
  CHECK(standing.kept_until.seq == 6);
  const auto again = standing_of(opening(place));
  CHECK_FALSE(again.branched);
  CHECK(again.journal == standing.journal);
  // Rolled back behind the branch: its journal is not even known then.
  std::filesystem::copy_file(old, place.journal(), std::filesystem::copy_options::overwrite_existing);
  const auto twice = standing_of(opening(place));
  CHECK(twice.branched);
  CHECK(twice.journal != standing.journal);
}

TEST_CASE("another machine begins a new branch; a missing machine id is no sign") {
  const Folder folder;
  auto how = opening(folder.place());
  write_events(how, 1, 2);
  how.machine = "";
  CHECK_FALSE(standing_of(how).branched);
  how.machine = "machine-b";
  const auto cloned = standing_of(how);
  CHECK(cloned.branched);
  CHECK(cloned.why.find("machine") != std::string::npos);
  CHECK_FALSE(standing_of(how).branched);
}

TEST_CASE("a break in the newest events is reported at start; measuring goes on once a person confirmed it") {
  const Folder folder;
  const auto place = folder.place();
  const auto keys = write_events(opening(place), 1, 10);
  tamper(place, "entry", "UPDATE entry SET person = 'somebody else' WHERE seq = 5");
  const auto refused = Journal::open(opening(place));
  REQUIRE_FALSE(refused);
  CHECK(refused.error().code == "broken_chain");
  CHECK(refused.error().where == text(Key{keys[0].journal, 5}));
  auto how = opening(place);
  how.who = "it";
  const auto confirmed = confirm_break(how, "seen, the copy is kept");
  REQUIRE(confirmed);
  CHECK(confirmed->branched);
  const auto more = write_events(opening(place), 11, 3);
  CHECK(more[0].journal == confirmed->journal);
  const auto report = verify(place.journal());
  REQUIRE(report);
  CHECK_FALSE(report->sound());  // it stays broken for ever, and is shown so
  REQUIRE(report->findings.size() == 1);
  CHECK(report->findings[0].code == "broken_chain");
  CHECK(report->findings[0].confirmed);
  const auto nothing = confirm_break(how, "again");
  REQUIRE_FALSE(nothing);
  CHECK(nothing.error().code == "no_break");
  auto reader = Reader::open(place);
  REQUIRE(reader);
  CHECK((*reader)->facts_after({}, {}, 100)->rows.size() == 13);
}

TEST_CASE("verify finds every planted change, and only where it was planted") {
  struct Planted {
    const char* table;
    const char* sql;
    const char* code;
    const char* where;  ///< "<seq>" of the first branch, or the text as it stands
  };
  const std::string abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
  const Planted planted[] = {
      {"entry", "UPDATE entry SET input = input || ' ' WHERE seq = 4", "broken_chain", "4"},
      {"entry", "UPDATE entry SET outcome = replace(outcome, 'result', 'Result') WHERE seq = 7",
       "broken_chain", "7"},
      {"entry", "UPDATE entry SET raw = NULL WHERE seq = 3", "broken_chain", "3"},
      {"entry", "UPDATE entry SET walk = '' WHERE seq = 3", "broken_chain", "3"},
      {"entry", "UPDATE entry SET utc_us = utc_us + 1 WHERE seq = 2", "broken_chain", "2"},
      {"entry", "UPDATE entry SET hash = zeroblob(32) WHERE seq = 6", "broken_chain", "6"},
      {"entry", "UPDATE entry SET previous = zeroblob(32) WHERE seq = 6", "broken_chain", "6"},
      {"entry", "PRAGMA foreign_keys = OFF; DELETE FROM entry WHERE seq = 5", "missing_event", "5"},
      {"branch", "UPDATE branch SET why = 'nothing' WHERE number = 1", "broken_chain", "1"},
      {"branch", "UPDATE branch SET machine = NULL WHERE number = 1", "broken_chain", "1"},
      {"fact", "UPDATE fact SET verdict = 'accept' WHERE seq = 6", "facts_differ", "6"},
      {"fact", "UPDATE fact SET measured_again = 1 WHERE seq = 3", "facts_differ", "3"},
      {"fact", "DELETE FROM fact WHERE seq = 9", "facts_differ", "9"},
      {"fact", "UPDATE fact SET n = 2 WHERE seq = 8", "facts_differ", "8"},
      {"blob", "UPDATE blob SET bytes = x'616264'", "blob_differs",
       "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
      {"blob", "DELETE FROM blob", "blob_missing", "2"},
  };
  for (const auto& one : planted) {
    CAPTURE(std::string(one.sql));
    const Folder folder;
    const auto place = folder.place();
    std::vector<Proposal> sent;
    for (int number = 1; number <= 9; ++number) sent.push_back(proposal(number));
    sent[0].attachments.push_back({abc, "text/plain", "abc"});
    const auto keys = write_events(opening(place), sent);
    check_sound(place);
    tamper(place, one.table, one.sql);
    for (const std::uint64_t events_a_read : {2U, 20000U}) {
      VerifyOptions options;
      options.events_a_read = events_a_read;
      const auto report = verify(place.journal(), options);
      REQUIRE(report);
      REQUIRE(!report->findings.empty());
      const std::string where =
          std::string(one.where).size() > 3 ? one.where : text(Key{keys[0].journal, std::stoull(one.where)});
      bool found = false;
      for (const auto& finding : report->findings)
        found = found || (finding.code == one.code && finding.where == where);
      CHECK_MESSAGE(found, report->findings[0].code << " " << report->findings[0].where);
    }
  }
}

TEST_CASE(
    "verify finds a trigger that was taken away, a table that was put in, and a journal that ends too "
    "early") {
  const Folder folder;
  const auto place = folder.place();
  const auto keys = write_events(opening(place), 1, 9);
  auto connection = Connection::open(place.journal(), Connection::Mode::read_write, "");
  REQUIRE(connection);
  REQUIRE(connection->run("DROP TRIGGER entry_never_updated; CREATE TABLE extra(x)") == SQLITE_OK);
  auto report = verify(place.journal());
  REQUIRE(report);
  REQUIRE(report->findings.size() == 2);
  CHECK(report->findings[0].where == "entry_never_updated");
  CHECK(report->findings[1].where == "extra");
  const auto since = [&] {
    VerifyOptions options;
    options.structure = false;
    options.since = keys[3];
    return verify(place.journal(), options);
  }();
  REQUIRE(since);
  CHECK(since->sound());
  CHECK(since->checked.events == 5);
  CHECK(since->last == keys.back());
  REQUIRE(write_head(place.head_file(), {{keys[0].journal, 99}, std::string(64, '0')}));
  VerifyOptions with_head;
  with_head.head_file = place.head_file();
  with_head.structure = false;
  report = verify(place.journal(), with_head);
  REQUIRE(report);
  REQUIRE(report->findings.size() == 1);
  CHECK(report->findings[0].code == "ends_before_head");
}
