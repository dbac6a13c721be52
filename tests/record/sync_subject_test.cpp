// The program that test_one_sync.py watches from outside.
#include <doctest/doctest.h>

#include <cstdlib>

#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

namespace {

void call_out(std::string_view word) {
  // An unbuffered write, so that it stands in the trace at its place.
  REQUIRE(write(STDERR_FILENO, word.data(), word.size()) == static_cast<ssize_t>(word.size()));
}

}  // namespace

TEST_CASE("commit fifty events one at a time, in the named folder" * doctest::skip()) {
  const char* folder = std::getenv("TALLYSTICK_SYNC_FOLDER");
  REQUIRE_MESSAGE(folder != nullptr, "TALLYSTICK_SYNC_FOLDER names the folder");
  auto journal = Journal::open(opening({std::filesystem::path(folder) / "data", {}, ""}));
  REQUIRE(journal);
  Desk desk;
  Pace pace;
  pace.quiet = std::chrono::hours(1);
  auto writer = (*journal)->writer(desk.hooks(), pace);
  writer->submit(proposal(0), desk.answer());
  REQUIRE(desk.wait_for(1));
  call_out("fifty begin\n");
  for (int number = 1; number <= 50; ++number) {
    writer->submit(proposal(number), desk.answer());
    REQUIRE(desk.wait_for(static_cast<std::size_t>(number) + 1));
  }
  call_out("fifty end\n");
  writer->stop();
}
