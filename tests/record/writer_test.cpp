#include <doctest/doctest.h>

#include <fstream>
#include <sstream>
#include <thread>

#include "daemon/record/folder.hpp"
#include "daemon/record/verify.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

namespace {

std::uint64_t events_in(const Place& place) {
  auto reader = Reader::open(place);
  REQUIRE(reader);
  const auto counts = (*reader)->counts();
  REQUIRE(counts);
  return counts->events;
}

void check_sound(const Place& place) {
  const auto report = verify(place.journal());
  REQUIRE(report);
  for (const auto& finding : report->findings) FAIL_CHECK(finding.where << ": " << finding.what);
  CHECK(report->sound());
}

}  // namespace

TEST_CASE("answers come in the order of submission, each event with the next number") {
  const Folder folder;
  const auto keys = write_events(opening(folder.place()), 1, 3000);
  for (std::size_t index = 0; index < keys.size(); ++index) REQUIRE(keys[index].seq == index + 2);
  check_sound(folder.place());
}

TEST_CASE(
    "an event that a constraint refuses is set aside with its bytes; the rest of its group is committed") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  auto bad = proposal(2);
  std::string reason = "CHECK constraint";
  SUBCASE("no kind") { bad.kind = ""; }
  SUBCASE("an unknown word for the clock") { bad.stamp.clock = "sundial"; }
  SUBCASE("an attachment that does not have its SHA-256") {
    bad.attachments.push_back({std::string(64, 'a'), "text/plain", "abc"});
    reason = "SHA-256";
  }
  bad.raw = std::string("\x01\x00\xfe", 3);
  writer->submit(proposal(1), desk.answer());
  writer->submit(bad, desk.answer());
  writer->submit(proposal(3), desk.answer());
  REQUIRE(desk.wait_for(3));
  writer->stop();
  CHECK(desk.keys.size() == 2);
  REQUIRE(desk.refusals.size() == 1);
  CHECK(desk.refusals[0].what.find(reason) != std::string::npos);
  CHECK(desk.keepings.empty());
  const auto files = list_set_aside(folder.place().set_aside());
  REQUIRE(files.size() == 1);
  CHECK(desk.refusals[0].where == files[0].string());
  std::ifstream in(files[0]);
  std::stringstream content;
  content << in.rdbuf();
  const auto kept = boost::json::parse(content.str());
  CHECK(kept.at("raw_hex").as_string() == "0100fe");
  CHECK(kept.at("facts").as_array().size() == 1);
  CHECK(events_in(folder.place()) == 3);
  check_sound(folder.place());
}

TEST_CASE(
    "while another program holds the journal nothing is answered; when it lets go all is written in order") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  auto other = Connection::open(folder.place().journal(), Connection::Mode::read_write, "");
  REQUIRE(other);
  REQUIRE(other->run("BEGIN IMMEDIATE") == SQLITE_OK);
  for (int number = 1; number <= 5; ++number) writer->submit(proposal(number), desk.answer());
  REQUIRE(desk.run_until([&] { return !desk.keepings.empty(); }));
  CHECK_FALSE(desk.keepings[0].kept);
  CHECK(desk.keepings[0].code == "locked");
  CHECK_FALSE(desk.keepings[0].why.empty());
  CHECK_FALSE(desk.keepings[0].hint.empty());
  CHECK(desk.answers() == 0);
  REQUIRE(other->run("ROLLBACK") == SQLITE_OK);
  REQUIRE(desk.wait_for(5));
  writer->stop();
  REQUIRE(desk.keepings.size() == 2);
  CHECK(desk.keepings[1].kept);
  for (std::size_t index = 0; index < 5; ++index) CHECK(desk.keys[index].seq == index + 2);
  check_sound(folder.place());
}

TEST_CASE(
    "the writing thread answers a sign of life while it idles, under load, and while it waits for the disk") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  int turns = 0;
  const auto turned_by = [&](int wanted) {
    writer->turn([&] { ++turns; });
    return desk.run_until([&] { return turns >= wanted; });
  };
  REQUIRE(turned_by(1));
  for (int number = 1; number <= 2000; ++number) writer->submit(proposal(number), desk.answer());
  CHECK(turned_by(2));
  REQUIRE(desk.wait_for(2000));
  auto other = Connection::open(folder.place().journal(), Connection::Mode::read_write, "");
  REQUIRE(other);
  REQUIRE(other->run("BEGIN IMMEDIATE") == SQLITE_OK);
  writer->submit(proposal(2001), desk.answer());
  REQUIRE(desk.run_until([&] { return !desk.keepings.empty(); }));
  CHECK(turned_by(3));  // it cannot write, and says so; that is no reason to be ended
  CHECK(desk.answers() == 2000);
  REQUIRE(other->run("ROLLBACK") == SQLITE_OK);
  REQUIRE(desk.wait_for(2001));
  writer->stop();
  check_sound(folder.place());
}

TEST_CASE("at stop, what a fault keeps from being written is set aside and said, never acknowledged") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  auto other = Connection::open(folder.place().journal(), Connection::Mode::read_write, "");
  REQUIRE(other);
  REQUIRE(other->run("BEGIN IMMEDIATE") == SQLITE_OK);
  for (int number = 1; number <= 3; ++number) writer->submit(proposal(number), desk.answer());
  writer->stop();
  REQUIRE(desk.wait_for(3));
  CHECK(desk.keys.empty());
  REQUIRE(desk.refusals.size() == 3);
  CHECK(desk.refusals[0].code == "not_kept");
  CHECK(list_set_aside(folder.place().set_aside()).size() == 3);
  REQUIRE(other->run("ROLLBACK") == SQLITE_OK);
  CHECK(events_in(folder.place()) == 1);
}

TEST_CASE("the head file follows in quiet moments and at stop; the WAL is moved into the database") {
  const Folder folder;
  const auto keys = write_events(opening(folder.place()), 1, 20);
  const auto head = read_head(folder.place().head_file());
  REQUIRE(head);
  CHECK(head->last == keys.back());
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  writer->submit(proposal(21), desk.answer());
  REQUIRE(desk.wait_for(1));
  const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(5);
  while (read_head(folder.place().head_file())->last != desk.keys[0] &&
         std::chrono::steady_clock::now() < end)
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  CHECK(read_head(folder.place().head_file())->last == desk.keys[0]);
  writer->stop();
}

TEST_CASE("the kept state of the daemon is the newest one, with the events since") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  for (int number = 1; number <= 4; ++number) writer->submit(proposal(number), desk.answer());
  REQUIRE(desk.wait_for(4));
  writer->checkpoint(desk.keys[0], "{\"state\":1}");
  writer->checkpoint(desk.keys[1], "{\"state\":2}");
  writer->stop();
  auto reader = Reader::open(folder.place());
  REQUIRE(reader);
  const auto kept = (*reader)->newest_checkpoint();
  REQUIRE(kept);
  REQUIRE(*kept);
  CHECK((*kept)->at == desk.keys[1]);
  CHECK((*kept)->state == "{\"state\":2}");
  const auto since = (*reader)->events_after({(*kept)->at.journal, (*kept)->at.seq, 0}, 100);
  REQUIRE(since);
  CHECK(since->events.size() == 2);
  check_sound(folder.place());
}

TEST_CASE("a file that events name is kept once, and given back by its SHA-256") {
  const Folder folder;
  // SHA-256 of "abc": FIPS 180-4, example (NIST, "SHA256.pdf"), from memory.
  const std::string name = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
  auto one = proposal(1), two = proposal(2);
  one.attachments.push_back({name, "text/plain", "abc"});
  two.attachments.push_back({name, "text/plain", "abc"});
  write_events(opening(folder.place()), {one, two});
  auto reader = Reader::open(folder.place());
  REQUIRE(reader);
  const auto blob = (*reader)->blob(name);
  REQUIRE(blob);
  REQUIRE(*blob);
  CHECK((*blob)->bytes == "abc");
  CHECK((*blob)->media_type == "text/plain");
  CHECK((*reader)->counts()->blobs == 1);
  CHECK_FALSE((*reader)->blob(std::string(64, '0'))->has_value());
  check_sound(folder.place());
}
