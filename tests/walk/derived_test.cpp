// Derived results, judging rules and limits before a finish, walked: what counts, what is made when, what a retake does.
#include <boost/json.hpp>

#include "daemon/walk/working.hpp"
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

Feature derived(const std::string& key, const std::string& computation, const std::string& lower, const std::string& upper,
                std::vector<checklist::DerivedInput> inputs) {
  Feature out;
  out.key = key;
  out.balloon = "d-" + key;
  out.name = key;
  out.kind = "derived";
  out.feature_class = "major";
  out.unit = "mm";
  out.lower = lower;
  out.upper = upper;
  out.decimals = 3;
  out.derivation.computation = computation;
  out.derivation.inputs = std::move(inputs);
  return out;
}

checklist::DerivedInput from(const std::string& name, std::vector<checklist::ReadingsOf> readings) {
  return {name, std::move(readings), {}, "", ""};
}

/// Length and outside of the family, and a wall that draws on both.
Wanted wall(const std::function<void(Edition&)>& more = {}) {
  Wanted wanted;
  wanted.change = [more](Edition& edition) {
    auto one = derived("difference", "formula", "", "4.000", {from("a", {{"outside", ""}}), from("b", {{"length", ""}})});
    one.derivation.formula = "a - b";
    edition.features.push_back(one);
    if (more) more(edition);
  };
  return wanted;
}

walk::Working working_of(const Fact& fact) {
  const auto working = walk::working_from(fact.working);
  REQUIRE(working);
  return *working;
}

}  // namespace

TEST_CASE("a derived result comes with the last reading that it draws on, judged exactly, with its working") {
  Shop shop(wall());
  shop.begin();
  CHECK(shop.press("height-1", "30.050").tone == "accept");
  CHECK(shop.facts("result").size() == 1);
  const auto last = shop.press("micrometer-1", "34.040");
  CHECK(last.tone == "part_end");
  REQUIRE(shop.facts("result").size() == 3);
  const auto fact = shop.last_fact();
  CHECK(fact.feature == "difference");
  CHECK(fact.step_kind == "derived");
  CHECK(fact.value == "3.99");
  CHECK(fact.unit == "mm");
  CHECK(fact.upper == "4.000");
  CHECK(fact.verdict == "accept");
  CHECK(fact.limits_of == "print");
  CHECK(fact.judging == "absolute");
  CHECK(fact.decision == "simple");
  CHECK(fact.gauge == "micrometer-1 height-1");
  CHECK(fact.readings.find(' ') != std::string::npos);
  const auto working = working_of(fact);
  CHECK(working.formula == "a - b");
  REQUIRE(working.inputs.size() == 2);
  CHECK(working.inputs[0].of == std::vector<std::string>{"outside"});
  CHECK(working.inputs[0].values == std::vector<std::string>{"34.04"});
  CHECK(std::stod(working.unrounded) == doctest::Approx(3.99).epsilon(1e-12));
  const auto ended = shop.walk_state().previous;
  REQUIRE(ended);
  CHECK(ended->end == "accepted");
  CHECK(shop.see("last.derived") != "");
}

TEST_CASE("a derived reject stands at once and holds the part; a retake of one reading makes it anew") {
  Shop shop(wall());
  shop.begin();
  shop.press("height-1", "30.000");
  CHECK(shop.press("micrometer-1", "34.040").tone == "stands");
  const auto bad = shop.last_fact();
  CHECK(bad.verdict == "reject");
  CHECK(bad.side == "upper");
  CHECK(bad.by == "0.04");
  CHECK(shop.walk_state().previous->held);
  CHECK(shop.walk_state().previous->end == "rejected");
  // Back into the part before: the outside was dirty.
  shop.act("again");
  CHECK(shop.press("micrometer-1", "34.030").what == "counted");
  CHECK(shop.press("height-1", "30.000").what != "refused");
  const auto facts = shop.facts("result");
  const auto newest = std::find_if(facts.rbegin(), facts.rend(), [](const Fact& one) { return one.feature == "difference"; });
  REQUIRE(newest != facts.rend());
  CHECK(newest->value == "4.03");
  CHECK_FALSE(newest->overrules.empty());
  CHECK(newest->measured_again);
}

TEST_CASE("a reading that is not judged is taken: no limits, no verdict, but what cannot be is still asked about") {
  Shop shop(wall([](Edition& edition) {
    auto& outside = edition.features[1];
    outside.lower.clear();
    outside.upper.clear();
    outside.unjudged = true;
  }));
  shop.begin();
  shop.press("height-1", "30.050");
  const auto taken = shop.press("micrometer-1", "34.100");   // outside the limits that it had
  CHECK(taken.what == "counted");
  const auto facts = shop.facts("result");
  const auto own = std::find_if(facts.begin(), facts.end(), [](const Fact& one) { return one.feature == "outside"; });
  REQUIRE(own != facts.end());
  CHECK(own->verdict.empty());
  CHECK(own->value == "34.1");
  CHECK(own->lower.empty());
  CHECK(own->limits_of.empty());
  CHECK(shop.walk_state().previous->end == "rejected");   // 4.05 is over 4
  Shop other(wall([](Edition& edition) {
    edition.features[1].lower.clear();
    edition.features[1].upper.clear();
    edition.features[1].unjudged = true;
  }));
  other.begin();
  other.press("height-1", "30.000");
  CHECK(other.press("micrometer-1", "35.000").what == "held");
  CHECK(hold_kind(other) == "value");
}

TEST_CASE("what cannot be worked out is undecided, says why, and holds the part") {
  Shop shop(wall([](Edition& edition) { edition.features.back().derivation.formula = "sqrt(a * a - 1.4 * b * b)"; }));
  shop.begin();
  shop.press("height-1", "30.000");
  CHECK(shop.press("micrometer-1", "34.030").tone == "stands");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "undecided");
  CHECK(fact.value.empty());
  CHECK_FALSE(fact.reason.empty());
  CHECK(working_of(fact).error == "not_a_number");
  CHECK(fact.working.find("nan") == std::string::npos);
  CHECK(shop.walk_state().previous->end == "undecided");
}

TEST_CASE("stringent acceptance: within the guard band it is read again and stays undecided") {
  // ISO 14253-1: outside 34.026 to 34.042, U = 0.003: accepted from 34.029 to 34.039, rejected below 34.023, above 34.045.
  const auto sure = [](Edition& edition) {
    edition.features[1].certainty.decision = "stringent";
    edition.features[1].certainty.uncertainty = "0.003";
    edition.features[1].certainty.standard_uncertainty = "0.0015";
    edition.features[1].certainty.coverage_factor = "2";
  };
  Wanted wanted;
  wanted.change = sure;
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.000");
  CHECK(shop.press("micrometer-1", "34.041").tone == "reject");
  CHECK(shop.see("last.verdict") == "undecided");
  CHECK(shop.see("step.attempt") == "2");
  CHECK(shop.press("micrometer-1", "34.040").tone == "stands");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "undecided");
  CHECK(fact.decision == "stringent");
  CHECK(fact.uncertainty == "0.003");
  // Phi((34.042 - 34.040) / 0.0015) = Phi(1.3333) = 0.90879 (JCGM 106:2012, 7.2; normal distribution tables).
  CHECK(std::stod(fact.conformance) == doctest::Approx(0.908789).epsilon(1e-5));
  CHECK(shop.walk_state().previous->held);
  CHECK(shop.walk_state().previous->end == "undecided");
  Shop other(wanted);
  other.begin();
  other.press("height-1", "30.000");
  CHECK(other.press("micrometer-1", "34.039").tone == "part_end");
  CHECK(other.last_fact().verdict == "accept");
}

TEST_CASE("the rounding method judges the value rounded to the limits' last place, and says so") {
  // ASTM E29-13, 6.4: 34.0424 is 34.042 at three places, and accepted; by the absolute method it is rejected.
  for (const std::string method : {"absolute", "half_even"}) {
    Wanted wanted;
    wanted.change = [method](Edition& edition) { edition.judging = method; };
    wanted.change_setup = [](Setup& setup) {
      for (auto& card : setup.cards) card.resolution = card.kind == "outside-micrometer" ? "0.0001" : card.resolution;
    };
    Shop shop(wanted);
    shop.begin();
    shop.press("height-1", "30.000");
    const auto outcome = shop.press("micrometer-1", "34.0424");
    CHECK(outcome.tone == (method == "absolute" ? "reject" : "part_end"));
    if (method == "absolute") continue;
    CHECK(shop.last_fact().judging == "half_even");
    CHECK(shop.last_fact().value == "34.0424");   // kept as it was observed
  }
}

TEST_CASE("before a finish other limits are in force, shown and printed; after it the print's") {
  const auto plated = [](Edition& edition) {
    edition.features[1].finish = {"0.005", "0.001", 2, "34.018", "34.030"};
    edition.features[1].stages.clear();
  };
  Wanted wanted;
  wanted.change = plated;
  Shop shop(wanted);
  shop.begin("final");
  shop.press("height-1", "30.000");
  CHECK(shop.see("step.upper") == "34.030");
  CHECK(shop.see("step.limits_of") == "before_finish");
  CHECK(shop.press("micrometer-1", "34.020").tone == "part_end");
  CHECK(shop.last_fact().limits_of == "before_finish");
  CHECK(shop.last_fact().lower == "34.018");
  CHECK(shop.last_fact().upper == "34.030");
  Shop after(wanted);
  after.begin("after finish");
  after.press("height-1", "30.000");
  CHECK(after.see("step.upper") == "34.042");
  CHECK(after.press("micrometer-1", "34.020").tone == "reject");
  CHECK(after.press("micrometer-1", "34.020").tone == "stands");
  CHECK(after.last_fact().limits_of == "print");
  CHECK(after.last_fact().upper == "34.042");
}
