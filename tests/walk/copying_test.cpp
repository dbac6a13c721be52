// `evolve` only copies: what it makes of an outcome that was written to JSON and read back is what `decide` worked on,
// owner by owner. Held over some thousands of random inputs of every kind.
#include <random>

#include "daemon/walk/draft.hpp"
#include "tests/walk/fixture.hpp"

namespace tallystick::walk {
/// The working copies of a draft.
struct DraftProbe {
  static const std::map<std::string, BenchState>& benches(const Draft& draft) { return draft.benches_; }
  static const std::map<std::string, WalkDraft>& walks(const Draft& draft) { return draft.walks_; }
  static const std::map<std::string, LotDraft>& lots(const Draft& draft) { return draft.lots_; }
  static const std::map<std::string, GaugeDraft>& gauges(const Draft& draft) { return draft.gauges_; }
};
}  // namespace tallystick::walk

using namespace tallystick;
using namespace tallystick::rig;

namespace {

/// Every member, with the event's own key as `decide` wrote it, before it could know it.
template <class T>
std::string plain(const T& value, const std::string& key) {
  std::string out = json::serialize(mirror::write<true>(value));
  for (const std::string& own : {key, std::string("\"this\"")})
    for (auto found = out.find(own); found != std::string::npos; found = out.find(own))
      out.replace(found, own.size(), own == key ? "" : "\"\"");
  return out;
}

walk::GaugeState without_made(walk::GaugeState gauge) {
  gauge.since_good.clear();   // kept as additions in the outcome, not in the working copy
  gauge.set_event.clear();
  return gauge;
}

class Wanderer {
 public:
  explicit Wanderer(std::uint64_t seed) : random_(seed), shop_(family(seed)) {
    shop_.open_lot("lot-1", 40);
    states_ = shop_.desk->states();
    seq_ = 1000;
    shop_.check_replay = false;
  }

  void go(int steps) {
    for (int step = 0; step < steps; ++step) one();
  }
  const std::map<std::string, int>& seen() const { return seen_; }

 private:
  static Wanted family(std::uint64_t seed) {
    Wanted wanted;
    wanted.features = {"length", "outside", "flange", "mean-diameter", "bore", "runout", "thread", "burr"};
    wanted.change = [seed](Edition& edition) {
      edition.next_part = seed % 3 == 0 ? "by_key" : "by_itself";
      if (seed % 2 == 0) edition.walk_order = "by_feature", edition.tray = 4;
      edition.after_reject = seed % 5 == 1 ? "end_part" : seed % 5 == 2 ? "stop_walk" : "go_on";
    };
    wanted.change_setup = [](Setup& setup) {
      setup.cards[3].setting.parts = 3;
      setup.cards[3].setting.void_on = {"person", "power"};
    };
    return wanted;
  }

  std::size_t pick(std::size_t count) { return std::uniform_int_distribution<std::size_t>(0, count - 1)(random_); }
  template <class T>
  const T& pick(const std::vector<T>& list) { return list[pick(list.size())]; }

  const walk::WalkState* active() const {
    const auto bench = states_.benches.find("bench-1");
    if (bench == states_.benches.end() || bench->second.walk.empty()) return nullptr;
    return &states_.walks.at(bench->second.walk);
  }

  walk::Input reading(const std::string& gauge, const std::string& value, bool captured) {
    walk::Input input;
    input.kind = captured ? "capture_ended" : "reading";
    input.reading = shop_.reading(gauge, value, "", pick(2) == 0, captured ? Cause::streamed : Cause::pushed);
    return input;
  }
  walk::Input press() {
    static const std::vector<std::pair<std::string, std::vector<std::string>>> choices = {
        {"height-1", {"30.0", "30.0", "30.05", "30.15", "32.0", "12", "0", "1.1811"}},
        {"micrometer-1", {"34.030", "34.031", "40.00", "40.01", "40.2", "36.01", "36.01", "36.03", "34.05", "26"}},
        {"bore-1", {"0.000", "0.001", "0.005", "0.030", "0.2", "-0.001"}},
        {"micrometer-0", {"12"}}};
    const auto& [gauge, values] = pick(choices);
    return reading(gauge, pick(values), false);
  }
  walk::Input command(const std::string& kind, json::object body = {}) {
    walk::Input input;
    input.kind = kind;
    input.bench = "bench-1";
    input.body = std::move(body);
    return input;
  }
  std::string any_reading() {
    std::vector<std::string> keys{"none"};
    const auto add = [&](const walk::PartState& part) {
      for (const auto& step : part.steps)
        for (const auto& attempt : step.attempts) keys.push_back(attempt.event);
    };
    if (const auto* walk = active(); walk && walk->part) {
      add(*walk->part);
      for (const auto& [slot, part] : walk->others) add(part);
    }
    return pick(keys);
  }
  walk::Input rare() {
    static const std::vector<std::string> people = {"ada", "bo", "lead"};
    static const std::vector<std::string> features = {"length", "outside", "flange", "mean-diameter"};
    switch (pick(15)) {
      case 0: return command("park");
      case 1: {
        std::vector<std::string> parked{"none"};
        for (const auto& key : states_.benches.at("bench-1").parked) parked.push_back(key);
        return command("take_up", {{"walk", pick(parked)}});
      }
      case 2: return command("state_person", {{"person", pick(people)}});
      case 3: return command("change_person", {{"person", pick(people)}});
      case 4: {
        static const std::vector<std::string> changes = {"tool", "material", "coolant"};
        return command("run_change", {{"lot", shop_.lot_key}, {"change", pick(changes)}, {"person", "machinist"}});
      }
      case 5: return command("run_change", {{"lot", shop_.lot_key}, {"change", "wear_offset"}, {"person", "machinist"},
                                            {"features", json::array{"bore"}}, {"program", "o2000"}});
      case 6: return command("run_release", {{"lot", shop_.lot_key}, {"person", pick(people)}});
      case 7: return command("lift_hold", {{"person", pick(people)}, {"reason", "seen"}});
      case 8: return pick(4) == 0 ? command("give_up", {{"reason", "drill"}}) : command("end_walk");
      case 9: return command("set_aside", {{"reading", any_reading()}, {"reason", "dirt"}});
      case 10: return command("move_reading", {{"reading", any_reading()}, {"feature", pick(features)}});
      case 11: return command("type_value", {{"value", pick(2) == 0 ? "30.01" : "34.03"}, {"unit", "mm"}});
      case 12: return command("time_reached");
      case 13: {
        const auto& displays = states_.benches.at("bench-1").displays;
        if (displays.empty()) return command("display_came", {{"display", "page-7"}});
        return command("display_went", {{"display", displays.front()}});
      }
      default: {
        auto input = command("started");
        input.bench.clear();
        return input;
      }
    }
  }
  walk::Input any() {
    const auto* walk = active();
    if (!walk) {
      static const std::vector<std::string> stages = {"final", "in process", "after finish", "setup"};
      if (pick(3) == 0) return rare();
      return command("begin_walk", {{"lot", shop_.lot_key}, {"stage", pick(stages)}, {"tools", {{"plug", "plug-1"}}}});
    }
    if (states_.benches.at("bench-1").displays.empty() && pick(2) == 0) return command("display_came", {{"display", "page-7"}});
    if (!walk->standing.capture.empty() && pick(2) == 0) return reading("lever-1", pick(3) == 0 ? "0.021" : "0.011", true);
    const auto dice = pick(20);
    if (dice == 0) return rare();
    if (dice < 6) {
      static const std::vector<std::string> actions = {"good", "good", "good", "not_good", "again"};
      return command("act", {{"action", pick(actions)}});
    }
    return dice < 16 ? sensible(*walk) : press();
  }
  /// What somebody who reads the screen would do.
  walk::Input sensible(const walk::WalkState& walk) {
    static const std::map<std::string, std::pair<std::string, std::string>> right = {
        {"length", {"height-1", "30.0"}}, {"outside", {"micrometer-1", "34.030"}}, {"flange", {"micrometer-1", "40.00"}},
        {"mean-diameter", {"micrometer-1", "36.01"}}, {"bore", {"bore-1", "0.005"}}};
    const auto& standing = walk.standing;
    if (standing.hold && standing.hold->kind == "setup_not_released")
      return command("run_release", {{"lot", shop_.lot_key}, {"person", "lead"}});
    if (standing.hold && standing.hold->hard) return command("lift_hold", {{"person", "lead"}, {"reason", "seen"}});
    if (!standing.capture.empty()) return command("act", {{"action", pick(2) == 0 ? "not_good" : "again"}});
    if (standing.resumed || standing.between) return command("act", {{"action", "good"}});
    if (!standing.setting.empty()) return reading("bore-1", pick(4) == 0 ? "0.030" : "0.001", false);
    if (!states_.suspects.empty() && standing.counted && standing.counted->feature == "bore" && pick(2) == 0)
      return command("act", {{"action", "again"}, {"reason", "suspect"}});
    const auto& part = standing.in_previous ? walk.previous : walk.part;
    if (!part) return command("act", {{"action", pick(3) == 0 ? "again" : "good"}});
    const auto& edition = *shop_.desk->catalogue().at(walk.edition);
    const auto key = edition.edition.features[edition.steps[part->asked[standing.pointer]].feature].key;
    const auto found = right.find(key);
    if (found == right.end()) return command("act", {{"action", "good"}});
    return reading(found->second.first, found->second.second, false);
  }

  void one() {
    shop_.clock.advance(pick(40) == 0 ? 4000 : 3);
    auto input = any();
    input.stamp = shop_.clock.now();
    std::map<std::string, Stamp> told;
    Stamp long_ago = input.stamp;
    long_ago.steady_ns -= 2'900'000'000;
    long_ago.utc_us -= 2'900'000;
    if (const auto* walk = active()) told[walk::present_ask(*walk)] = long_ago;
    for (const auto& [id, gauge] : states_.gauges) told[walk::setting_ask(gauge)] = long_ago;
    walk::Context context;
    context.started = started_.boot.empty() ? input.stamp : started_;
    context.editions = &shop_.desk->catalogue();
    context.words = &shop_.setup.words;
    context.candidates = &shop_.setup.candidates;
    context.told = &told;
    walk::Draft draft(states_, input, context);
    if (!walk::route(draft)) {
      ++seen_["refused"];
      return;
    }
    draft.refresh_walks();
    compare(draft, input);
  }

  void compare(walk::Draft& draft, const walk::Input& input) {
    using walk::DraftProbe;
    const auto benches = DraftProbe::benches(draft);
    const auto walks = DraftProbe::walks(draft);
    const auto lots = DraftProbe::lots(draft);
    const auto gauges = DraftProbe::gauges(draft);
    const auto decision = draft.finish();
    const auto written = mirror::text(decision.outcome);
    // Written without a tree, it is what Boost.JSON makes of the tree, byte for byte.
    REQUIRE(written == json::serialize(mirror::write(decision.outcome)));
    const auto outcome = mirror::parse<Outcome>(written, true);
    REQUIRE_MESSAGE(outcome, written);
    REQUIRE(mirror::text(*outcome) == written);
    const Key key{journal_id, ++seq_};
    const std::string own = text(key);
    INFO("input ", walk::to_json_text(input), " outcome ", written);
    walk::States after = states_;
    walk::evolve(after, *outcome, key, input.stamp);
    for (const auto& [id, bench] : benches) REQUIRE(plain(after.benches.at(id), own) == plain(bench, own));
    for (const auto& [id, walk] : walks) {
      if (walk.change.gone) {
        REQUIRE_FALSE(after.walks.contains(id));
        continue;
      }
      REQUIRE(plain(after.walks.at(id.empty() ? own : id), own) == plain(walk.state, own));
    }
    for (const auto& [id, lot] : lots) {
      auto whole = lot.state;   // claims are no part of the working copy: what was written lies over what was there
      if (lot.before) whole.claims = states_.lots.at(id).claims;
      for (const auto& [serial, claim] : lot.written) whole.claims[serial] = claim;
      REQUIRE(plain(after.lots.at(id.empty() ? own : id), own) == plain(whole, own));
    }
    for (const auto& [id, gauge] : gauges)
      REQUIRE(plain(without_made(after.gauges.at(id)), own) == plain(without_made(gauge.state), own));
    states_ = std::move(after);
    if (input.kind == "started") started_ = input.stamp;
    ++seen_[outcome->what];
    for (const auto& [id, change] : outcome->walks) {
      if (change.tray || (change.begun && !change.begun->others.empty())) ++seen_["tray begun"];
      if (!change.reach.empty()) ++seen_["tray reach"];
      if (change.reopened) ++seen_["tray reopened"];
      if (!change.tray_part_ended.empty()) ++seen_["tray part ended"];
      if (!change.turn.empty()) ++seen_["tray turn"];
      if (!change.tray_ended.empty()) ++seen_["tray ended"];
    }
    ++seen_["tone " + outcome->tone];
    for (const auto& fact : outcome->facts) ++seen_["fact " + fact.kind + " " + fact.verdict];
  }

  std::mt19937_64 random_;
  Shop shop_;
  walk::States states_;
  Stamp started_;
  std::uint64_t seq_ = 0;
  std::map<std::string, int> seen_;
};

}  // namespace

TEST_CASE("evolve makes of an outcome read from JSON exactly what decide worked on") {
  std::map<std::string, int> seen;
  for (std::uint64_t seed = 1; seed <= 30; ++seed) {
    INFO("seed ", seed);
    Wanderer wanderer(seed);
    wanderer.go(700);
    for (const auto& [what, count] : wanderer.seen()) seen[what] += count;
  }
  std::string all;
  for (const auto& [what, count] : seen) all += what + " " + std::to_string(count) + ", ";
  INFO(all);
  for (const char* rare : {"counted", "held", "moved", "not_counted", "answer", "setting", "retake", "set_aside", "part_anew", "passed_over",
                           "walk_begun", "walk_ended", "walk_given_up", "parked", "taken_up", "run_changed", "run_released", "hold_lifted",
                           "capture_begun", "capture_dropped", "go_on", "tell_again", "forgotten", "person_stated", "started",
                           "tray begun", "tray reach", "tray reopened", "tray part ended", "tray turn", "tray ended",
                           "display_came", "display_went", "refused", "tone stands", "tone part_end", "tone setting_bad",
                           "fact result reject", "fact result accept", "fact mark suspect", "fact correction "})
    CHECK_MESSAGE(seen[rare] > 0, rare);
}

TEST_CASE("a text in JSON is written as Boost.JSON writes it, whatever bytes it has") {
  for (int byte = 0; byte < 256; ++byte) {
    const std::string text = std::string("a") + static_cast<char>(byte) + "b";
    std::string out;
    mirror::append_string(out, text);
    CHECK_MESSAGE(out == json::serialize(json::string(text)), byte);
  }
  std::string out;
  mirror::append_string(out, "");
  CHECK(out == "\"\"");
}
