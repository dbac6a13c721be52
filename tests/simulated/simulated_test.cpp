// Whole walks under a simulated clock, with random events, faults and restarts. A failing seed is printed and can be
// run alone: TALLYSTICK_SEED=17 test_simulated. Seeds that once failed stand in seeds.txt and are always run too.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <optional>

#include "tests/simulated/inspector.hpp"
#include "tests/simulated/oracles.hpp"

using namespace tallystick;
using namespace tallystick::simulated;

namespace {

using Complaints = std::vector<std::string>;

class Run {
 public:
  explicit Run(Scenario given) : scenario_(std::move(given)), house_(scenario_) {
    for (int bench = 1; bench <= scenario_.benches; ++bench) inspectors_.emplace_back(house_, scenario_, bench);
    for (const auto& inspector : inspectors_) house_.display_comes(inspector.bench());
    open_shop();
  }

  Complaints run(int turns) {
    for (int turn = 0; turn < turns && !finished(); ++turn) stormy_turn();
    for (int turn = 0; turn < 4000 && !finished(); ++turn) calm_turn();
    house_.commit_all();
    Complaints out = house_.complaints;
    if (!finished()) out.push_back("the work never ends: " + where_it_stands());
    const auto add = [&](Complaints more) { out.insert(out.end(), more.begin(), more.end()); };
    add(check_sources(house_));
    add(check_results(house_, scenario_));
    add(check_parts(house_));
    add(check_suspects(house_));
    if (finished()) add(check_ends(house_, scenario_));
    add(check_trays(house_, scenario_));
    add(check_states(house_));
    count_from_journal();
    return out;
  }

  const std::map<std::string, int>& counters() const { return house_.counters; }
  std::size_t events() { return house_.journal().size(); }
  const std::vector<Entry>& journal() { return house_.journal(); }

 private:
  bool finished() const {
    return std::all_of(inspectors_.begin(), inspectors_.end(), [](const auto& one) { return one.finished(); });
  }
  std::string where_it_stands() {
    std::string out;
    for (const auto& one : inspectors_) {
      const auto& screen = house_.screen(one.bench());
      out += one.bench() + ": " + text_at(screen, "state") + " part " + text_at(screen, "walk.serial") + " " + text_at(screen, "step.feature") + " " +
             text_at(screen, "hold") + "; ";
    }
    return out;
  }

  void open_shop() {
    const auto give = [&](const std::string& kind, json::object body) {
      walk::Command command;
      command.kind = kind;
      command.idempotency_key = "shop/" + kind;
      command.body = std::move(body);
      house_.command(std::move(command), [&](Expected<json::object> answer) {
        REQUIRE_MESSAGE(answer, answer.error().what);
        if (kind == "open_lot") house_.lot = text_at(*answer, "lot");
      });
      house_.commit_all();
    };
    give("publish", {{"family", "sim"}, {"person", "lead"}, {"reason", "first issue"}});
    give("open_lot", {{"lot_name", "sim-lot"}, {"family", "sim"}, {"size", "sim-30"}, {"first", 1}, {"last", scenario_.parts}});
  }

  void answer_asked(Inspector& inspector, bool calm) {
    for (const auto& gauge : house_.take_asked()) {
      if (!calm && house_.dice.chance(scenario_.faults.silence)) {
        house_.not_answered(gauge);
        ++house_.counters["no reply"];
        continue;
      }
      inspector.reply(gauge);
    }
  }

  void tell_all(double share) {
    for (const auto& one : inspectors_)
      if (share >= 1 || house_.dice.chance(share)) house_.tell(one.bench());
  }

  void calm_turn() {
    for (auto& one : inspectors_) {
      house_.advance(3);
      house_.display_comes(one.bench());
      house_.commit_all();
      tell_all(1);
      house_.advance(3);
      one.act(true);
      house_.commit_all();
      answer_asked(one, true);
      house_.commit_all();
    }
    house_.tick();
    house_.commit_all();
  }

  void stormy_turn() {
    auto& dice = house_.dice;
    auto& one = inspectors_[dice.pick(inspectors_.size())];
    house_.advance(static_cast<double>(dice.between(100, 3500)) / 1000);
    faults(one);
    one.act(false);
    answer_asked(one, false);
    house_.commit_some(scenario_.commits_a_turn);
    tell_all(0.85);
    if (dice.chance(0.3)) house_.tick();
  }

  void faults(Inspector& one) {
    auto& dice = house_.dice;
    const auto& share = scenario_.faults;
    if (!house_.has_display(one.bench())) {
      if (dice.chance(0.4)) house_.display_comes(one.bench());
      else if (dice.chance(0.5)) one.press_blindly();
    } else if (dice.chance(share.display_gone)) {
      house_.display_goes(one.bench());
      ++house_.counters["display gone"];
    }
    if (dice.chance(share.clock_step)) {
      house_.step_clock(static_cast<double>(dice.between(-7200, 7200)));
      ++house_.counters["clock stepped"];
    }
    if (dice.chance(share.set_aside) && house_.set_one_aside()) ++house_.counters["commit failed"];
    if (dice.chance(share.silence)) {
      const auto gauge = "micrometer-" + one.bench().substr(6);
      house_.silence(gauge, dice.chance(0.5));
      ++house_.counters["line lost or heard"];
    }
    if (dice.chance(share.restart)) restart();
  }

  /// The daemon goes and comes; what it took last is said once more on every bench before anything counts.
  void restart() {
    auto& dice = house_.dice;
    const auto told = house_.told_keys;
    house_.restart(dice.pick(3), dice.chance(0.3));
    ++house_.counters["restart"];
    std::map<std::string, std::string> taken;
    for (const auto& one : inspectors_) taken[one.bench()] = last_taken(house_, one.bench());
    house_.commit_all();
    for (const auto& one : inspectors_) house_.display_comes(one.bench());
    house_.commit_all();
    tell_all(1);
    for (const auto& one : inspectors_) {
      const auto& last = taken[one.bench()];
      if (last.empty()) continue;
      const auto& screen = house_.screen(one.bench());
      if (!told.contains(last)) ++house_.counters["taken and never told"];
      if (text_at(screen, "state") != "resumed" || text_at(screen, "last.key") != last)
        house_.complaints.push_back("after a start " + one.bench() + " does not repeat " + last + ": " + text_at(screen, "state") + " " + text_at(screen, "last.key"));
      else
        ++house_.counters["repeated after a start"];
    }
  }

  void count_from_journal() {
    auto& counters = house_.counters;
    for (const auto& entry : house_.journal()) {
      ++counters["what " + text_at(entry.outcome, "what")];
      const auto facts = at(entry.outcome, "facts");
      if (!facts.is_array()) continue;
      for (const auto& fact : facts.as_array()) {
        ++counters["fact " + text_at(fact, "kind") + " " + text_at(fact, "verdict")];
        if (text_at(fact, "measured_again") == "true") ++counters["measured again " + text_at(fact, "verdict")];
        if (text_at(fact, "confirmed") == "true") ++counters["confirmed"];
      }
    }
    for (const auto& entry : house_.journal())
      if (const auto walks = at(entry.outcome, "walks"); walks.is_object())
        for (const auto& [key, change] : walks.as_object()) {
          for (const char* member : {"reach", "reopened", "tray_part_ended", "turn", "tray_ended", "tray"})
            if (change.as_object().contains(member)) ++counters["tray: " + std::string(member)];
          if (!at(change, "begun.others").is_null()) ++counters["tray: begun with the walk"];
          if (text_at(change, "reach") != "" && text_at(entry.outcome, "what") == "retake") ++counters["tray: again on another part"];
          const auto steps = at(change, "steps");
          if (!steps.is_object()) continue;
          for (const auto& [index, step] : steps.as_object()) {
            std::size_t counted = 0;
            const auto attempts = at(step, "attempts");
            if (attempts.is_array())
              for (const auto& attempt : attempts.as_array()) counted += text_at(attempt, "aside") == "true" ? std::size_t{0} : std::size_t{1};
            if (counted == 3) ++counters["a third decided"];
          }
        }
  }

  Scenario scenario_;
  House house_;
  std::vector<Inspector> inspectors_;
};

std::vector<std::uint64_t> kept_seeds() {
  std::vector<std::uint64_t> out;
  std::ifstream file(std::string(TALLYSTICK_SOURCE_DIR) + "/tests/simulated/seeds.txt");
  REQUIRE(file);
  for (std::string line; std::getline(file, line);)
    if (!line.empty() && line[0] != '#') out.push_back(std::strtoull(line.c_str(), nullptr, 10));
  return out;
}

std::optional<std::uint64_t> one_seed() {
  const char* text = std::getenv("TALLYSTICK_SEED");
  if (!text) return {};
  return std::strtoull(text, nullptr, 10);
}

std::uint64_t how_many() {
  const char* text = std::getenv("TALLYSTICK_SEEDS");
  return text ? std::strtoull(text, nullptr, 10) : 1000;
}

void report(std::uint64_t seed, const std::string& test, const Complaints& complaints) {
  std::string all;
  for (std::size_t n = 0; n < complaints.size() && n < 12; ++n) all += "\n  " + complaints[n];
  CHECK_MESSAGE(complaints.empty(), "seed " << seed << " (again with TALLYSTICK_SEED=" << seed << " test_simulated -tc='" << test << "'):" << all);
}

/// What a thousand runs must have met, or they proved less than they say.
const char* const rare_paths[] = {
    "dirt", "doubled", "late", "two at one instant", "partial frame", "wrong gauge", "zero", "set to inches", "part of another size", "another feature",
    "display gone", "clock stepped", "commit failed", "line lost or heard", "restart", "committed and not acknowledged", "lost with the daemon",
    "taken and never told", "repeated after a start", "no reply", "resumed", "pressed while resumed", "it really is so", "confirmed", "hold value", "hold size",
    "hold unit", "hold zero", "hold wrong_gauge", "hard hold setup_not_released", "hard hold edition_withdrawn", "hard hold stopped",
    "a gauge failed on its master", "suspects", "parked", "another person", "run change", "given up", "edition withdrawn", "a command sent again",
    "a command for what is past", "refused: moved_on", "passed over", "typed", "a reject that cannot be", "a third decided", "measured again accept",
    "measured again reject", "action go_on", "action set_repeated_aside", "action tell_again", "action it_is_so", "action part_anew", "action forget_hold",
    "action ask_gauge", "action begin_capture", "action retake", "action retake_previous", "action answer_back", "action begin_part", "action end_walk",
    "tray: reach", "tray: reopened", "tray: tray_part_ended", "tray: turn", "tray: tray_ended", "tray: tray", "tray: begun with the walk",
    "tray: again on another part",
    "what moved", "what too_early", "what duplicate", "what held", "what not_counted", "what setting", "what refusals_counted", "what told",
    "fact result accept", "fact result reject", "fact mark suspect", "fact mark cleared", "fact correction "};

}  // namespace

TEST_CASE("a thousand simulated walks") {
  if (const auto seed = one_seed()) {
    Run run(make_scenario(*seed));
    report(*seed, "a thousand*", run.run(400));
    for (const auto& [what, count] : run.counters()) std::cout << what << ": " << count << "\n";
    for (const auto& entry : run.journal())
      std::cout << entry.key << ' ' << entry.bench << ' ' << entry.kind << ' ' << json::serialize(entry.input) << " -> " << json::serialize(entry.outcome) << "\n";
    return;
  }
  auto seeds = kept_seeds();
  for (std::uint64_t seed = 1; seed <= how_many(); ++seed) seeds.push_back(seed);
  std::map<std::string, int> met;
  std::size_t events = 0;
  for (const auto seed : seeds) {
    Run run(make_scenario(seed));
    report(seed, "a thousand*", run.run(400));
    for (const auto& [what, count] : run.counters()) met[what] += count;
    events += run.events();
  }
  std::string counted;
  for (const auto& [what, count] : met) counted += what + ": " + std::to_string(count) + "; ";
  MESSAGE(seeds.size() << " walks, " << events << " events; " << counted);
  for (const char* path : rare_paths) CHECK_MESSAGE(met[path] > 0, "never reached: " << path);
}

TEST_CASE("eight benches on one lot: no part twice, none left out") {
  const auto seed = one_seed();
  for (std::uint64_t n = seed.value_or(1); n <= seed.value_or(6); ++n) {
    Run run(make_crowd(n));
    report(n, "eight benches*", run.run(1500));
  }
}
