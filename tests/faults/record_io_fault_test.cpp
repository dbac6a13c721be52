// The record while the disk fails: at every call, once and for good, full, read-only.
#include <doctest/doctest.h>

#include <thread>

#include "daemon/record/folder.hpp"
#include "daemon/record/verify.hpp"
#include "tests/faults/power_loss_vfs.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

namespace {

struct Bench {
  explicit Bench(const std::string& name) : disk(name) {
    place = folder.place();
    place.vfs = disk.name();
  }
  Folder folder;
  faults::PowerLossVfs disk;
  Place place;
};

void check_holds(Bench& bench, const std::vector<Key>& keys, std::size_t events) {
  const auto report = verify(bench.place.journal(), {}, bench.place.vfs);
  REQUIRE_MESSAGE(report, text(report.error()));
  for (const auto& finding : report->findings) FAIL_CHECK(finding.where << ": " << finding.what);
  auto reader = Reader::open(bench.place);
  REQUIRE(reader);
  auto page = (*reader)->facts_after({}, {}, 1000);
  REQUIRE(page);
  REQUIRE(page->rows.size() == events);
  REQUIRE(keys.size() == events);
  for (std::size_t index = 0; index < events; ++index) {
    CHECK(page->rows[index].event == keys[index]);
    CHECK(page->rows[index].fact.serial == std::to_string(index + 1));
  }
}

/// One run with a fault: open, six events in two bursts, stop. True when the fault struck.
bool run_with(faults::FaultPlan plan, const std::string& name, bool with_reader, bool tidies,
              std::size_t& refused_starts, std::size_t& pauses) {
  Bench bench(name);
  bench.disk.plan(plan);
  auto journal = Journal::open(opening(bench.place));
  if (!journal) {
    CHECK_FALSE(journal.error().what.empty());
    ++refused_starts;
    bench.disk.plan({});
    journal = Journal::open(opening(bench.place));
  }
  REQUIRE_MESSAGE(journal, text(journal.error()));
  std::unique_ptr<Reader> reader;
  if (with_reader) {
    // A connection that stays open keeps the WAL's index in memory: recovery then goes another way.
    auto opened = Reader::open(bench.place);
    if (opened) reader = std::move(*opened);
    if (reader) (void)reader->counts();
  }
  Desk desk;
  Pace pace = fast_pace();
  pace.quiet = tidies ? std::chrono::milliseconds(0) : std::chrono::hours(1);
  pace.stop_within = std::chrono::milliseconds(0);
  auto writer = (*journal)->writer(desk.hooks(), pace);
  for (int number = 1; number <= 3; ++number) writer->submit(proposal(number), desk.answer());
  const auto answered_or_paused = [&](std::size_t count) {
    return desk.run_until(
        [&] { return desk.answers() >= count || (!desk.keepings.empty() && !desk.keepings.back().kept); });
  };
  REQUIRE(answered_or_paused(3));
  if (desk.answers() < 3) {
    ++pauses;
    // Nothing is acknowledged while nothing is kept; sticky faults end when somebody mends the disk.
    bench.disk.plan({});
  }
  REQUIRE(desk.wait_for(3));
  for (int number = 4; number <= 6; ++number) writer->submit(proposal(number), desk.answer());
  REQUIRE(answered_or_paused(6));
  if (desk.answers() < 6) {
    ++pauses;
    if (plan.sticky) bench.disk.plan({});
  }
  if (plan.sticky) bench.disk.plan({});
  REQUIRE(desk.wait_for(6));
  // The power goes before anything else is synced: what was acknowledged must have been, whatever failed
  // before.
  bench.disk.stop_power_at(bench.disk.changes() + 1);
  const bool struck = bench.disk.struck();
  writer->stop();
  CHECK(desk.refusals.empty());
  reader.reset();
  writer.reset();
  journal->reset();
  bench.disk.plan({});
  bench.disk.lose_power(plan.at);
  check_holds(bench, desk.keys, 6);
  return struck;
}

void every_call(bool sticky, bool full, bool with_reader, bool tidies = true) {
  std::size_t refused_starts = 0, pauses = 0, calm = 0;
  std::uint64_t at = 1;
  // The runs are not all alike (the thread's timing): it is over when several in a row met no fault.
  for (; calm < 5; ++at) {
    CAPTURE(at);
    const std::string name = "io-" + std::to_string(at) + (sticky ? "s" : "o") + (full ? "f" : "i") +
                             (with_reader ? "r" : "-") + (tidies ? "t" : "-");
    calm = run_with({at, sticky, full}, name, with_reader, tidies, refused_starts, pauses) ? 0 : calm + 1;
    REQUIRE(at < 20000);
  }
  MESSAGE(std::string(full ? "full" : "I/O error")
          << std::string(sticky ? ", for good" : ", once")
          << std::string(with_reader ? ", with a reader" : "") << ": " << at << " calls, " << refused_starts
          << " starts refused, " << pauses << " pauses");
  CHECK(at > 20);
  CHECK(refused_starts > 0);
  CHECK(pauses > 0);
}

}  // namespace

TEST_CASE("an I/O error at every call, once") { every_call(false, false, false); }
TEST_CASE("an I/O error at every call, once, with a reader open") { every_call(false, false, true); }
TEST_CASE("an I/O error at every call, once, and no quiet moment") { every_call(false, false, false, false); }
TEST_CASE("an I/O error from every call on, until the disk is mended") { every_call(true, false, false); }
TEST_CASE("no space at every write, once") { every_call(false, true, false); }
TEST_CASE("no space from every write on, until there is room") { every_call(true, true, true); }

TEST_CASE(
    "disk full, read-only, failing: the page is told, nothing is acknowledged; then it goes on by itself") {
  struct Trouble {
    const char* code;
    void (*begin)(faults::PowerLossVfs&);
    void (*end)(faults::PowerLossVfs&);
  };
  const Trouble troubles[] = {
      {"disk_full", [](faults::PowerLossVfs& disk) { disk.set_full(true); },
       [](faults::PowerLossVfs& disk) { disk.set_full(false); }},
      {"read_only", [](faults::PowerLossVfs& disk) { disk.set_read_only(true); },
       [](faults::PowerLossVfs& disk) { disk.set_read_only(false); }},
      {"io_error",
       [](faults::PowerLossVfs& disk) {
         disk.plan({1, true, false});
       },
       [](faults::PowerLossVfs& disk) { disk.plan({}); }},
  };
  for (const auto& trouble : troubles) {
    CAPTURE(std::string(trouble.code));
    Bench bench(std::string("trouble-") + trouble.code);
    auto journal = Journal::open(opening(bench.place));
    REQUIRE(journal);
    Desk desk;
    Pace pace = fast_pace();
    pace.quiet = std::chrono::hours(1);
    auto writer = (*journal)->writer(desk.hooks(), pace);
    for (int number = 1; number <= 3; ++number) writer->submit(proposal(number), desk.answer());
    REQUIRE(desk.wait_for(3));
    trouble.begin(bench.disk);
    for (int number = 4; number <= 40; ++number) writer->submit(proposal(number), desk.answer());
    REQUIRE(
        desk.run_until([&] { return !desk.keepings.empty() && desk.keepings.back().code == trouble.code; }));
    CHECK_FALSE(desk.keepings.back().kept);
    CHECK_FALSE(desk.keepings.back().why.empty());
    CHECK_FALSE(desk.keepings.back().hint.empty());
    std::this_thread::sleep_for(std::chrono::milliseconds(30));
    desk.run_what_is_there();
    CHECK(desk.answers() < 40);
    trouble.end(bench.disk);
    REQUIRE(desk.wait_for(40));
    CHECK(desk.refusals.empty());
    CHECK(desk.keepings.back().kept);
    writer->stop();
    check_holds(bench, desk.keys, 40);
  }
}
