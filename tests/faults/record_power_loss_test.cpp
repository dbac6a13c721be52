// The record through power losses: whatever was acknowledged is there, whole and chained.
#include <doctest/doctest.h>

#include <atomic>
#include <map>
#include <thread>

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

struct Run {
  std::vector<Key> acknowledged;  ///< of events 1, 2, ... as submitted
  int submitted = 0;
};

/// Submits events from `first` on in bursts, and ends when all are answered or the power is off.
Run write_until_the_end(Bench& bench, int first, int count, std::uint64_t seed) {
  Run run;
  auto journal = Journal::open(opening(bench.place));
  if (!journal) return run;
  std::mt19937_64 random(seed);
  Desk desk;
  Pace pace = fast_pace();
  pace.quiet = std::chrono::milliseconds(0);  // the WAL is moved whenever nothing waits: losses hit that too
  pace.stop_within = std::chrono::milliseconds(0);
  auto writer = (*journal)->writer(desk.hooks(), pace);
  const auto all_answered = [&] {
    return desk.answers() >= static_cast<std::size_t>(run.submitted) || bench.disk.power_is_off();
  };
  while (run.submitted < count && !bench.disk.power_is_off()) {
    const int burst = static_cast<int>(random() % 6) + 1;
    for (int index = 0; index < burst && run.submitted < count; ++index) {
      auto one = proposal(first + run.submitted++, {fact(1), fact(2)});
      one.raw = std::string(random() % 3000, 'r');
      writer->submit(std::move(one), desk.answer());
    }
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(20);
    while (!all_answered() && std::chrono::steady_clock::now() < end) {
      desk.run_what_is_there();
      std::this_thread::yield();
    }
    if (random() % 4 == 0 && !desk.keys.empty()) writer->checkpoint(desk.keys.back(), R"({"state":"kept"})");
    if (random() % 3 == 0) std::this_thread::sleep_for(std::chrono::microseconds(300));
  }
  writer->stop();
  desk.run_what_is_there();
  run.acknowledged = desk.keys;
  return run;
}

struct Found {
  std::size_t events = 0;
  bool sound = false;
};

/// What a start after the loss finds; checks that it is sound and a beginning of what was submitted.
Found look(Bench& bench, const Run& run, int first) {
  Found found;
  auto reader = Reader::open(bench.place);
  if (!reader) {
    // Only a loss before anything was acknowledged may leave no journal at all.
    CHECK_MESSAGE(run.acknowledged.empty(), text(reader.error()));
    return found;
  }
  const auto report = verify(bench.place.journal(), {}, bench.place.vfs);
  REQUIRE(report);
  for (const auto& finding : report->findings) FAIL_CHECK(finding.where << ": " << finding.what);
  auto events = (*reader)->events_after({}, 100000);
  REQUIRE(events);
  std::map<Key, std::string> inputs;
  int expected = first;
  for (const auto& event : events->events) {
    if (event.content.kind != "reading") continue;
    if (event.content.input == proposal(expected).input) ++expected;
    inputs[event.key] = event.content.input;
    ++found.events;
  }
  CHECK(found.events == static_cast<std::size_t>(expected - first));
  auto facts = (*reader)->facts_after({}, {}, 100000);
  REQUIRE(facts);
  CHECK(facts->rows.size() == found.events * 2);  // none half
  for (std::size_t index = 0; index < run.acknowledged.size(); ++index) {
    const auto at = inputs.find(run.acknowledged[index]);
    REQUIRE_MESSAGE(at != inputs.end(), "acknowledged and lost: " << text(run.acknowledged[index]));
    CHECK(at->second == proposal(first + static_cast<int>(index)).input);
  }
  found.sound = true;
  return found;
}

/// The kernel keeps the machine's other files (lock, head) in this model; only SQLite's lose power.
constexpr int events = 30;

}  // namespace

TEST_CASE("200 seeded power losses: every acknowledged event is there and chained, none is half") {
  std::uint64_t changes = 0, syncs = 0;
  {
    Bench calm("power-calm");
    const auto run = write_until_the_end(calm, 1, events, 1);
    REQUIRE(run.acknowledged.size() == events);
    changes = calm.disk.changes();
    syncs = calm.disk.syncs();
    REQUIRE(changes > 100);
  }
  std::size_t off = 0, more_than_acknowledged = 0, some_acknowledged = 0, none_there = 0, twice = 0;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    CAPTURE(seed);
    std::mt19937_64 random(seed);
    Bench bench("power-" + std::to_string(seed));
    // Few changes are syncs, and there the question is hardest: half of the losses come with one.
    if (seed % 2 == 0)
      bench.disk.stop_power_at_sync(1 + random() % syncs);
    else
      bench.disk.stop_power_at(1 + random() % changes);
    const auto run = write_until_the_end(bench, 1, events, seed);
    off += bench.disk.power_is_off() ? 1U : 0U;
    bench.disk.lose_power(seed);
    if (seed % 3 == 0) {
      // And again while the first start after it recovers.
      bench.disk.stop_power_at(bench.disk.changes() + 1 + random() % 8);
      (void)Journal::open(opening(bench.place));
      twice += bench.disk.power_is_off() ? 1U : 0U;
      bench.disk.lose_power(seed + 1000);
    }
    const auto found = look(bench, run, 1);
    none_there += found.events == 0 ? 1U : 0U;
    some_acknowledged += run.acknowledged.empty() ? 0U : 1U;
    more_than_acknowledged += found.events > run.acknowledged.size() ? 1U : 0U;
    // It goes on, behind what is there.
    const auto later = write_until_the_end(bench, 1000, 5, seed);
    CHECK(later.acknowledged.size() == 5);
    const auto report = verify(bench.place.journal(), {}, bench.place.vfs);
    REQUIRE(report);
    CHECK(report->sound());
  }
  MESSAGE("power went " << off << " times, " << twice << " of them twice; something was acknowledged in "
                        << some_acknowledged << ", more was there than acknowledged in "
                        << more_than_acknowledged << ", nothing was there in " << none_there);
  CHECK(off > 120);
  CHECK(some_acknowledged > 100);
  CHECK(more_than_acknowledged > 0);
  CHECK(none_there > 0);
  CHECK(twice > 10);
}

TEST_CASE(
    "the model itself loses what was not synced: without the sync of each commit, acknowledged events "
    "vanish") {
  // A test that cannot fail is none: a connection that does not sync must be seen to lose data here.
  std::size_t lost = 0;
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    Bench bench("unsynced-" + std::to_string(seed));
    write_events(opening(bench.place), 1, 3);
    {
      auto connection =
          Connection::open(bench.place.journal(), Connection::Mode::read_write, bench.place.vfs);
      REQUIRE(connection);
      REQUIRE(connection->run("PRAGMA synchronous = OFF; PRAGMA wal_autocheckpoint = 0") == SQLITE_OK);
      for (int number = 0; number < 10; ++number)
        REQUIRE(connection->run("INSERT INTO setting VALUES('n" + std::to_string(number) + "', 'x')") ==
                SQLITE_OK);
      bench.disk.stop_power_at(bench.disk.changes() + 1);
      connection->run("INSERT INTO setting VALUES('last', 'x')");
    }
    bench.disk.lose_power(seed);
    auto connection = Connection::open(bench.place.journal(), Connection::Mode::read_write, bench.place.vfs);
    REQUIRE(connection);
    if (connection->integer("SELECT count(*) FROM setting WHERE name LIKE 'n%'") < 10) ++lost;
  }
  CHECK(lost > 5);
}

TEST_CASE("exactly one sync for each commit group") {
  Bench bench("sync-count");
  auto journal = Journal::open(opening(bench.place));
  REQUIRE(journal);
  Desk desk;
  Pace pace = fast_pace();
  pace.quiet = std::chrono::hours(1);
  std::atomic<std::uint64_t> groups = 0;
  auto hooks = desk.hooks();
  const auto post = hooks.post;
  hooks.post = [&groups, post](std::function<void()> job) {
    ++groups;
    post(std::move(job));
  };
  auto writer = (*journal)->writer(hooks, pace);
  writer->submit(proposal(0), desk.answer());
  REQUIRE(desk.wait_for(1));  // the writer's connection is open now
  std::size_t sent = 1;
  SUBCASE("one at a time") {
    const auto before = bench.disk.syncs();
    for (int number = 1; number <= 50; ++number) {
      writer->submit(proposal(number), desk.answer());
      REQUIRE(desk.wait_for(++sent));
    }
    CHECK(bench.disk.syncs() - before == 50);
  }
  SUBCASE("whatever queued goes in one group") {
    const auto before = bench.disk.syncs(), groups_before = groups.load();
    for (int number = 1; number <= 500; ++number) writer->submit(proposal(number), desk.answer());
    REQUIRE(desk.wait_for(501));
    CHECK(bench.disk.syncs() - before == groups - groups_before);
    CHECK(groups - groups_before < 400);
  }
  SUBCASE("also for the first one after the WAL was moved into the database") {
    writer->stop();
    writer.reset();
    journal->reset();
    journal = Journal::open(opening(bench.place));
    REQUIRE(journal);
    pace.quiet = std::chrono::milliseconds(1);
    std::atomic<std::uint64_t> syncs_at_commit = 0;
    hooks.post = [&syncs_at_commit, &bench, post](std::function<void()> job) {
      syncs_at_commit = bench.disk.syncs();
      post(std::move(job));
    };
    writer = (*journal)->writer(hooks, pace);
    writer->submit(proposal(0), desk.answer());
    REQUIRE(desk.wait_for(++sent));
    for (int number = 1; number <= 5; ++number) {
      // When the quiet moment's work is done nothing syncs but the next commit.
      std::uint64_t still = bench.disk.syncs();
      for (int calm = 0; calm < 20; ++calm) {
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        if (bench.disk.syncs() != still) calm = 0;
        still = bench.disk.syncs();
      }
      writer->submit(proposal(number), desk.answer());
      REQUIRE(desk.wait_for(++sent));
      CHECK(syncs_at_commit - still == 1);
    }
  }
  writer->stop();
}
