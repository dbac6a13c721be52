// The walk and the record together through power losses: real desk, real writer, SQLite on a disk that forgets what was
// not synced. What the inspector was told is in the journal; what stands in memory was never ahead of it; the next
// start repeats the last value that counted, and the lot is finished with every feature of every part measured once.
#include <doctest/doctest.h>

#include <atomic>
#include <map>
#include <random>
#include <thread>

#include "daemon/house_parts.hpp"
#include "daemon/record/verify.hpp"
#include "tests/faults/power_loss_vfs.hpp"
#include "tests/record/record_fixture.hpp"
#include "tests/walk/fixture.hpp"

using namespace tallystick;
namespace test = tallystick::record::test;

namespace {

constexpr int parts = 2;
const char* const measured_features[] = {"length", "outside", "flange"};

/// One life of the daemon on the disk of a Machine: from opening the journal to losing power, or to the end of the work.
class Life {
 public:
  Life(const record::Place& place, faults::PowerLossVfs& disk, rig::FakeClock& clock, std::uint64_t seed)
      : place_(place), disk_(disk), clock_(clock), random_(seed) {}
  ~Life() { end(); }
  Life(const Life&) = delete;
  Life& operator=(const Life&) = delete;

  /// False: the power went while it started.
  bool start() {
    auto opened = record::Journal::open(test::opening(place_));
    if (!opened) return false;
    journal_ = std::move(*opened);
    auto reader = record::Reader::open(place_);
    if (!reader) return false;
    walk::DeskSeams seams;
    seams.now = [this] { return clock_.now(); };
    seams.submit = [this](Proposal proposal, std::function<void(Expected<Key>)> committed) {
      ++submitted_;
      writer_->submit(std::move(proposal), [this, committed](Expected<Key> key) {
        ++answered_;
        if (key) acknowledged.push_back(*key);
        committed(std::move(key));
      });
    };
    desk = std::make_unique<walk::Desk>(std::move(seams));
    if (auto loaded = load_desk(*desk, **reader); !loaded) return false;
    auto pace = test::fast_pace();
    pace.quiet = std::chrono::milliseconds(0);   // the WAL is moved whenever nothing waits: losses hit that too
    pace.stop_within = std::chrono::milliseconds(0);
    writer_ = journal_->writer(post_.hooks(), pace);
    rig::Wanted wanted;
    wanted.features = {"length", "outside", "flange"};
    const auto setup = rig::setup_of(wanted);
    desk->configure(setup.words, setup.cards, setup.candidates);
    desk->start();
    desk->display_came("bench-1", "page");
    settle();
    return !disk_.power_is_off();
  }

  /// Works as an inspector until the lot is measured or the power is off.
  void work() {
    for (int turn = 0; turn < 400 && !done && !disk_.power_is_off(); ++turn) {
      clock_.advance(3);
      one_turn();
      settle();
      // Now and then the daemon keeps its state, as it does in quiet moments: a start reads it and the events behind it.
      if (random_() % 6 == 0 && !disk_.power_is_off()) {
        auto [key, state] = desk->checkpoint();
        writer_->checkpoint(key, std::move(state));
      }
      if (random_() % 3 == 0) std::this_thread::sleep_for(std::chrono::microseconds(300));
    }
  }

  void end() {
    if (writer_) writer_->stop();
    post_.run_what_is_there();
    writer_.reset();
    journal_.reset();
  }

  std::string see(std::string_view path) const { return rig::text_at(desk->view("bench-1"), path); }

  std::unique_ptr<walk::Desk> desk;
  std::vector<Key> acknowledged;
  std::vector<std::pair<std::string, std::string>> seen;   ///< key and value of every counted reading that the page was told
  bool done = false;

 private:
  void settle() {
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(20);
    while (std::chrono::steady_clock::now() < end) {
      post_.run_what_is_there();
      tell();
      if (disk_.power_is_off()) return;
      if (answered_ == submitted_) {
        const auto before = submitted_;
        tell();
        if (submitted_ == before) return;
      }
      std::this_thread::yield();
    }
    FAIL("the writer did not answer");
  }

  void tell() {
    const auto view = desk->view("bench-1");
    const auto sequence = rig::at(view, "sequence").to_number<std::uint64_t>();
    if (sequence == told_) return;
    told_ = sequence;
    if (rig::text_at(view, "last.what") == "counted") seen.emplace_back(rig::text_at(view, "last.key"), rig::text_at(view, "last.value"));
    desk->told("bench-1", "page", sequence, clock_.now());
  }

  void send(const std::string& kind, boost::json::object body) {
    walk::Command command;
    command.kind = kind;
    command.bench = "bench-1";
    command.saw = {see("walk.key"), see("walk.part"), see("ask")};
    if (command.saw.walk.empty()) command.saw = {};
    command.idempotency_key = std::to_string(clock_.now().utc_us);
    command.body = std::move(body);
    desk->command(std::move(command), [this, kind](Expected<boost::json::object> answer) {
      if (!answer && kind == "begin_walk" && answer.error().code == "no_part_left") done = true;
    });
  }

  void press(const std::string& gauge, const std::string& value) {
    Reading reading;
    reading.gauge = gauge;
    reading.port = "port-" + gauge;
    reading.decoded.quantity = *Quantity::parse(value, *Unit::named("mm"));
    reading.decoded.value_text = value;
    reading.decoded.unit_in_frame = true;
    reading.cause = Cause::pushed;
    reading.frame.bytes = value + "\r\n";
    reading.frame.first = reading.frame.last = clock_.now();
    desk->offer(std::move(reading));
  }

  void one_turn() {
    const auto& states = desk->states();
    const auto state = see("state");
    if (states.editions.empty()) return send("publish", {{"family", "fb"}, {"person", "lead"}, {"reason", "first issue"}});
    if (states.lots.empty())
      return send("open_lot", {{"lot_name", "lot-1"}, {"family", "fb"}, {"size", "fb-25"}, {"first", 1}, {"last", parts}});
    if (see("person").empty() && see("walk.key").empty()) return send("state_person", {{"person", "ada"}});
    if (state == "idle") return send("begin_walk", {{"lot", states.lots.begin()->first}, {"stage", "final"}});
    if (state == "resumed" || state == "between_parts" || state == "done") return send("act", {{"action", "good"}});
    const auto feature = see("step.feature");
    // A value of its own for every press, so that a repeat or a mix-up could not hide.
    const auto digit = std::to_string(1 + presses_ % 9);
    ++presses_;
    if (feature == "length") press("height-1", "30.00" + digit);
    if (feature == "outside") press("micrometer-1", "34.03" + digit);
    if (feature == "flange") press("micrometer-1", "40.00" + digit);
    // An impatient second press behind the first, while that is on its way to the disk.
    if (random_() % 4 == 0) press(feature == "length" ? "height-1" : "micrometer-1", feature == "length" ? "30.05" : "34.035");
  }

  const record::Place place_;
  faults::PowerLossVfs& disk_;
  rig::FakeClock& clock_;
  std::mt19937_64 random_;
  std::unique_ptr<record::Journal> journal_;
  test::Desk post_;
  std::unique_ptr<record::Writer> writer_;
  std::size_t submitted_ = 0, answered_ = 0;
  std::uint64_t told_ = 0;
  unsigned presses_ = 0;
};

struct Machine {
  explicit Machine(const std::string& name) : disk(name) {
    place = folder.place();
    place.vfs = disk.name();
  }
  test::Folder folder;
  faults::PowerLossVfs disk;
  record::Place place;
  rig::FakeClock clock;
};

std::vector<Event> journal_of(const Machine& machine) {
  auto reader = record::Reader::open(machine.place);
  if (!reader) return {};
  auto page = (*reader)->events_after({}, 100000);
  REQUIRE(page);
  return page->events;
}

/// The last value or answer that counted in the walk that is active, as the journal alone tells it.
std::string last_counted(const std::vector<Event>& events) {
  std::string last;
  bool active = false;
  for (const auto& event : events) {
    const auto what = rig::outcome_of(event).what;
    if (what == "walk_begun") active = true, last.clear();
    if (what == "walk_ended") active = false;
    if (what == "counted") last = text(event.key);
  }
  return active ? last : "";
}

struct Tally {
  std::size_t off = 0, acknowledged = 0, committed_unheard = 0, repeated = 0, nothing_there = 0, in_recovery = 0;
};

/// Everything told and acknowledged is there, and memory held nothing but what is there.
/// `alone`: no other life has written since.
void look_after_loss(const Machine& machine, const Life& before, bool alone, Tally& tally) {
  const auto events = journal_of(machine);
  std::map<std::string, const Event*> by_key;
  for (const auto& event : events) by_key[text(event.key)] = &event;
  for (const auto& key : before.acknowledged) CHECK_MESSAGE(by_key.contains(text(key)), "acknowledged and lost: " << text(key));
  for (const auto& [key, value] : before.seen) {
    const auto at = by_key.find(key);
    REQUIRE_MESSAGE(at != by_key.end(), "shown on the page and lost: " << key);
    CHECK(at->second->content.raw == value + "\r\n");
  }
  walk::States states;
  for (const auto& event : events) {
    if (before.acknowledged.empty() || before.acknowledged.back() < event.key) break;
    walk::evolve(states, rig::outcome_of(event), event.key, event.content.stamp);
  }
  if (before.desk) CHECK(mirror::text(states) == mirror::text(before.desk->states()));
  tally.acknowledged += before.acknowledged.empty() ? 0U : 1U;
  tally.committed_unheard += alone && events.size() > before.acknowledged.size() + 1 ? 1U : 0U;   // the branch is one
  tally.nothing_there += events.empty() ? 1U : 0U;
}

void check_finished(const Machine& machine) {
  std::map<std::string, int> results;
  for (const auto& event : journal_of(machine))
    for (const auto& fact : rig::outcome_of(event).facts) ++results[fact.serial + "/" + fact.feature];
  CHECK(results.size() == parts * std::size(measured_features));
  for (const auto& [which, count] : results) CHECK_MESSAGE(count == 1, which << " has " << count << " results");
  const auto report = record::verify(machine.place.journal(), {}, machine.place.vfs);
  REQUIRE(report);
  CHECK(report->sound());
}

}  // namespace

TEST_CASE("200 seeded power losses of walk and record: what was told is there, and the next start repeats it") {
  std::uint64_t changes = 0, syncs = 0;
  {
    Machine calm("walk-power-calm");
    Life life(calm.place, calm.disk, calm.clock, 1);
    REQUIRE(life.start());
    life.work();
    REQUIRE(life.done);
    life.end();
    check_finished(calm);
    changes = calm.disk.changes();
    syncs = calm.disk.syncs();
  }
  Tally tally;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    CAPTURE(seed);
    std::mt19937_64 random(seed);
    Machine machine("walk-power-" + std::to_string(seed));
    if (seed % 2 == 0) machine.disk.stop_power_at_sync(1 + random() % syncs);
    else machine.disk.stop_power_at(1 + random() % changes);
    Life first(machine.place, machine.disk, machine.clock, seed);
    if (first.start()) first.work();
    first.end();
    tally.off += machine.disk.power_is_off() ? 1U : 0U;
    machine.disk.lose_power(seed);
    if (seed % 3 == 0) {
      // And again while the first start after it recovers.
      machine.disk.stop_power_at(machine.disk.changes() + 1 + random() % 8);
      Life again(machine.place, machine.disk, machine.clock, seed);
      again.start();
      again.end();
      tally.in_recovery += machine.disk.power_is_off() ? 1U : 0U;
      machine.disk.lose_power(seed + 1000);
    }
    look_after_loss(machine, first, seed % 3 != 0, tally);
    const auto last = last_counted(journal_of(machine));
    machine.clock.new_boot();
    Life later(machine.place, machine.disk, machine.clock, seed + 5000);
    REQUIRE(later.start());
    if (!last.empty()) {
      CHECK(later.see("state") == "resumed");
      CHECK(later.see("last.key") == last);
      ++tally.repeated;
    }
    later.work();
    CHECK(later.done);
    later.end();
    check_finished(machine);
  }
  MESSAGE("power went " << tally.off << " times, " << tally.in_recovery << " times more in recovery; something was acknowledged in " << tally.acknowledged
                        << ", more was there than acknowledged in " << tally.committed_unheard << ", a value was repeated in " << tally.repeated
                        << ", nothing was there in " << tally.nothing_there);
  CHECK(tally.off > 150);
  CHECK(tally.acknowledged > 100);
  CHECK(tally.committed_unheard > 0);
  CHECK(tally.repeated > 50);
  CHECK(tally.in_recovery > 10);
}
