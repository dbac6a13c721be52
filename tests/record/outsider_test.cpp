// An outsider's verifier, written from FORMAT.md alone, agrees with ours: on sound journals and on changed
// ones.
#include <doctest/doctest.h>

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <sstream>

#include "daemon/record/backup.hpp"
#include "daemon/record/chain_check.hpp"
#include "daemon/record/schema.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

namespace {

constexpr const char* python = "/usr/bin/python3";

struct Said {
  int status = -1;
  std::string words;
};

Said outsider(const std::filesystem::path& journal) {
  const std::string command = std::string(python) + " '" + TALLYSTICK_SOURCE_DIR +
                              "/tests/record/verifier.py' '" + journal.string() + "' 2>&1 < /dev/null";
  Said said;
  FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe != nullptr);
  char piece[4096];
  while (const std::size_t size = std::fread(piece, 1, sizeof piece, pipe)) said.words.append(piece, size);
  const int status = pclose(pipe);
  said.status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return said;
}

bool no_python(const char* name) {
  if (std::filesystem::exists(python)) return false;
  std::cout << "[skip] " << name << ": there is no " << python << std::endl;
  return true;
}

std::filesystem::path two_branches(const Folder& folder) {
  auto with_file = proposal(1, {fact(1), fact(5), fact(7)});
  with_file.attachments.push_back(
      {"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "text/plain", "abc"});
  auto odd = proposal(2);
  odd.raw = std::string("\0\xff\x02", 3);
  odd.person = "Größe \"ß\"";
  odd.stamp.steady_ns = -5;
  write_events(opening(folder.place()), {with_file, odd, proposal(3, {})});
  const auto copy = folder.path() / "copy.sqlite3";
  REQUIRE(backup(folder.place().journal(), copy, stamp(5)));
  REQUIRE(restore(copy, folder.place("restored"), "it", "disk replaced"));
  write_events(opening(folder.place("restored")), 10, 20);
  const auto single = folder.path() / "single.sqlite3";
  REQUIRE(backup(folder.place("restored").journal(), single, stamp(6)));
  return single;
}

}  // namespace

TEST_CASE("the outsider's verifier finds a sound journal sound, with as many events and facts") {
  if (no_python("the outsider's verifier finds a sound journal sound")) return;
  const Folder folder;
  const auto journal = two_branches(folder);
  const auto report = verify(journal);
  REQUIRE(report);
  CHECK(report->sound());
  const auto said = outsider(journal);
  CHECK_MESSAGE(said.status == 0, said.words);
  CHECK(said.words == std::to_string(report->checked.events) + " events and " +
                          std::to_string(report->checked.facts) + " facts hold\n");
}

TEST_CASE("the outsider's verifier finds what was changed, and refuses what is no journal") {
  if (no_python("the outsider's verifier finds what was changed")) return;
  const char* changes[] = {
      "UPDATE entry SET input = '{}' WHERE branch = 1 AND seq = 3",
      "UPDATE entry SET raw = x'00' WHERE branch = 2 AND seq = 5",
      "UPDATE branch SET why = '' WHERE number = 2",
      "UPDATE branch SET parent_seq = 2 WHERE number = 2",
      "DELETE FROM entry WHERE branch = 2 AND seq = 9",
      "UPDATE fact SET value = '25.000' WHERE branch = 2 AND seq = 7",
      "DELETE FROM fact WHERE branch = 1 AND seq = 2 AND n = 3",
      "UPDATE blob SET bytes = x'00'",
      "DELETE FROM blob",
  };
  const Folder folder;
  const auto sound = two_branches(folder);
  for (const char* change : changes) {
    CAPTURE(std::string(change));
    const auto journal = folder.path() / "changed.sqlite3";
    std::filesystem::copy_file(sound, journal, std::filesystem::copy_options::overwrite_existing);
    auto connection = Connection::open(journal, Connection::Mode::read_write, "");
    REQUIRE(connection);
    for (const auto& object : schema())
      if (object.type == "trigger") REQUIRE(connection->run("DROP TRIGGER " + object.name) == SQLITE_OK);
    REQUIRE(connection->run(change) == SQLITE_OK);
    REQUIRE(sqlite3_changes(connection->handle()) > 0);
    const auto said = outsider(journal);
    CHECK_MESSAGE(said.status == 1, said.words);
    VerifyOptions options;
    options.structure = false;
    const auto report = verify(journal, options);
    REQUIRE(report);
    CHECK_FALSE(report->sound());
  }
  std::ofstream(folder.path() / "text") << "no journal";
  CHECK(outsider(folder.path() / "text").status == 2);
}

TEST_CASE("FORMAT.md names every column, in the order of the tables") {
  std::ifstream in(std::filesystem::path(TALLYSTICK_SOURCE_DIR) / "daemon" / "record" / "FORMAT.md");
  std::stringstream all;
  all << in.rdbuf();
  const std::string text = all.str();
  const auto in_order = [&](const std::string& heading, auto columns, const std::string& before,
                            const std::string& after) {
    std::size_t at = text.find("\n## " + heading + "\n");
    REQUIRE(at != std::string::npos);
    const auto end = text.find("\n## ", at + 4);
    for (const auto column : columns) {
      const auto found = text.find(before + std::string(column) + after, at);
      CHECK_MESSAGE(found < end, heading << ": " << std::string(column));
      if (found < end) at = found + 1;
    }
  };
  in_order("entry", entry_columns, "`", "`");
  in_order("fact", fact_column_names(), " ", "");
  CHECK(text.find("1413565529") != std::string::npos);
  CHECK(application_mark == 1413565529);
}
