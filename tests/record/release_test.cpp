// Journals of earlier releases, kept in releases/<version>/: every later one opens, verifies and reads them
// alike.
//
// To add the journal of a release, once, when it goes out:
//   TALLYSTICK_RELEASE_FOLDER=tests/record/releases/<version> build/release/tests/test_record --no-skip
//     -tc="make the journal of this release"
// It writes journal.sqlite3 (a backup, so one file) and facts.jsonl (what reading it must give), from
// invented data.
#include <doctest/doctest.h>

#include <cstdlib>
#include <fstream>

#include "daemon/record/backup.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

namespace {

const std::filesystem::path releases =
    std::filesystem::path(TALLYSTICK_SOURCE_DIR) / "tests" / "record" / "releases";

std::vector<std::string> lines_of(Reader& reader, View view) {
  std::vector<std::string> out;
  Cursor cursor;
  for (bool more = true; more;) {
    auto page = reader.facts_after(cursor, {}, 3, view);
    REQUIRE(page);
    for (const auto& row : page->rows)
      out.push_back(
          boost::json::serialize(boost::json::object{{"view", view == View::all ? "all" : "as_of_now"},
                                                     {"fact", fact_key(row.event, row.n)},
                                                     {"content", mirror::write(row.fact)}}));
    cursor = page->next;
    more = page->more;
  }
  return out;
}

std::vector<std::string> all_lines(const std::filesystem::path& journal) {
  auto reader = Reader::open_file(journal);
  REQUIRE(reader);
  auto lines = lines_of(**reader, View::all);
  for (auto& line : lines_of(**reader, View::as_of_now)) lines.push_back(std::move(line));
  return lines;
}

}  // namespace

TEST_CASE("journals of every release are opened, verified and read as they were, and can be gone on with") {
  std::size_t count = 0;
  for (const auto& release : std::filesystem::directory_iterator(releases)) {
    CAPTURE(release.path().string());
    ++count;
    const Folder folder;
    const auto place = folder.place();
    std::filesystem::create_directories(place.data);
    std::filesystem::copy_file(release.path() / "journal.sqlite3", place.journal());
    // An older format is brought forward by the first opening to write; reading then gives the same.
    const auto more = write_events(opening(place), 1, 2);
    const auto report = verify(place.journal());
    REQUIRE(report);
    for (const auto& finding : report->findings) FAIL_CHECK(finding.where << ": " << finding.what);
    std::vector<std::string> expected;
    std::ifstream in(release.path() / "facts.jsonl");
    for (std::string line; std::getline(in, line);) expected.push_back(line);
    REQUIRE(expected.size() > 5);
    auto found = all_lines(place.journal());
    std::erase_if(found,
                  [&](const std::string& line) { return line.find(more[0].journal) != std::string::npos; });
    CHECK(found == expected);
  }
  CHECK(count >= 1);
}

TEST_CASE("make the journal of this release" * doctest::skip()) {
  const char* target = std::getenv("TALLYSTICK_RELEASE_FOLDER");
  REQUIRE_MESSAGE(target != nullptr, "TALLYSTICK_RELEASE_FOLDER names the folder");
  const Folder folder;
  auto how = opening(folder.place());
  how.machine = "";
  const std::string abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
  auto with_file = proposal(1, {fact(1), fact(2), fact(5)});
  with_file.attachments.push_back({abc, "text/plain", "abc"});
  auto untrusted = proposal(2);
  untrusted.stamp.clock = "untrusted";
  untrusted.raw = std::string("\x02\xff\x00+25.012\r", 11);
  const auto first = write_events(how, {with_file, untrusted, proposal(3, {})});
  auto mark = fact(2);
  mark.kind = "mark";
  mark.verdict = "suspect";
  mark.reason = "bore gauge found outside its limit";
  mark.overrules = fact_key(first[0], 2);
  write_events(how, {proposal(4, {mark})});
  how.machine = "machine-b";
  const auto copy = folder.path() / "between.sqlite3";
  REQUIRE(backup(folder.place().journal(), copy, stamp(10)));
  const auto restored = folder.place("restored");
  REQUIRE(restore(copy, restored, "it", "invented: disk replaced"));
  auto last = fact(6);
  last.note = "größer als \"0,02\"\n";
  write_events(opening(restored), {proposal(6, {last})});
  std::filesystem::create_directories(target);
  REQUIRE(backup(restored.journal(), std::filesystem::path(target) / "journal.sqlite3", stamp(20)));
  std::ofstream out(std::filesystem::path(target) / "facts.jsonl");
  for (const auto& line : all_lines(std::filesystem::path(target) / "journal.sqlite3")) out << line << "\n";
}
