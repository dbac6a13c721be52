// rules.md, "Rejects and repeats", and what a reject that stands holds.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

TEST_CASE("after a reject the same step is asked once more; a second reject stands without a touch") {
  Shop shop;
  shop.begin();
  const auto first = shop.press("height-1", "30.15");
  CHECK(first.tone == "reject");
  CHECK(shop.see("step.feature") == "length");
  CHECK(shop.see("step.attempt") == "2");
  CHECK(shop.facts("result").empty());
  const auto second = shop.press("height-1", "30.16");
  CHECK(second.tone == "stands");
  CHECK(shop.see("step.feature") == "outside");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "reject");
  CHECK(fact.value == "30.16");
  CHECK(fact.side == "upper");
  CHECK(fact.by == "0.06");
  CHECK(fact.measured_again);
  CHECK(fact.readings.find(' ') == std::string::npos);           // names the one that decided
  CHECK(shop.walk_state().part->steps[0].attempts.size() == 2);  // both stay visible
}

TEST_CASE("if the second reading accepts, a third decides: accept") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.15");
  CHECK(shop.press("height-1", "30.05").tone == "accept");
  CHECK(shop.see("step.feature") == "length");
  CHECK(shop.see("step.attempt") == "3");
  CHECK(shop.facts("result").empty());
  CHECK(shop.press("height-1", "30.04").tone == "accept");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "accept");
  CHECK(fact.value == "30.04");
  CHECK(fact.measured_again);
  CHECK(shop.see("step.feature") == "outside");
}

TEST_CASE("if the second reading accepts, a third decides: reject") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.15");
  shop.press("height-1", "30.05");
  CHECK(shop.press("height-1", "30.12").tone == "stands");
  CHECK(shop.last_fact().verdict == "reject");
  CHECK(shop.last_fact().value == "30.12");
}

TEST_CASE(
    "a reject that stands holds the part, not the walk: its other steps are asked, and the part ends "
    "rejected") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.15");
  shop.press("height-1", "30.15");
  CHECK(shop.see("walk.part_held") == "true");
  CHECK(shop.see("state") == "step");
  shop.press("micrometer-1", "34.030");
  CHECK(shop.lot().claims.at("final/1").end == "rejected");
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("after_reject = end_part: the part ends there, rejected, and the next begins") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.after_reject = "end_part"; };
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.15");
  shop.press("height-1", "30.15");
  CHECK(shop.lot().claims.at("final/1").end == "rejected");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("step.feature") == "length");
}

TEST_CASE("after_reject = stop_walk: a second person has to lift it, then the part goes on") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.after_reject = "stop_walk"; };
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.15");
  shop.press("height-1", "30.15");
  CHECK(hold_kind(shop) == "stopped");
  CHECK(shop.press("micrometer-1", "34.030").what == "not_counted");
  CHECK(shop.refused("lift_hold", {{"person", "ada"}, {"reason", "go on"}}) == "refused");
  shop.done("lift_hold", {{"person", "lead"}, {"reason", "seen"}});
  CHECK(shop.see("step.feature") == "outside");
  shop.press("micrometer-1", "34.030");
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE(
    "after_reject = stop_walk at the part's last step: once it is lifted the part ends, no step is asked "
    "twice") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.after_reject = "stop_walk"; };
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.0");
  shop.press("micrometer-1", "34.05");
  shop.press("micrometer-1", "34.05");
  CHECK(hold_kind(shop) == "stopped");
  shop.done("lift_hold", {{"person", "lead"}, {"reason", "seen"}});
  CHECK(shop.lot().claims.at("final/1").end == "rejected");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("step.feature") == "length");
}

TEST_CASE("material left: an outside size too large and an inside size too small can still be cut") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  shop.press("micrometer-1", "34.052");
  CHECK(shop.see("last.side") == "upper");
  CHECK(shop.see("last.by") == "0.01");
  CHECK(shop.see("last.material_left") == "true");
  shop.press("micrometer-1", "34.020");
  CHECK(shop.see("last.side") == "lower");
  CHECK(shop.see("last.material_left") == "false");
}

TEST_CASE("places: each is judged and repeated by itself, the result stores least and greatest") {
  Wanted wanted;
  wanted.features = {"flange"};
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("micrometer-1", "39.96").tone == "place");  // not the tone of a step's change
  CHECK(shop.see("step.place") == "at-90");
  CHECK(shop.press("micrometer-1", "40.06").tone == "reject");
  CHECK(shop.see("step.place") == "at-90");
  CHECK(shop.press("micrometer-1", "40.04").what == "counted");
  CHECK(shop.press("micrometer-1", "40.03").tone == "part_end");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "accept");
  CHECK(fact.least == "39.96");
  CHECK(fact.greatest == "40.03");
  CHECK(fact.measured_again);
  CHECK(std::count(fact.readings.begin(), fact.readings.end(), ' ') == 1);
}

TEST_CASE("places: one place that stands rejected rejects the feature, whatever the others say") {
  Wanted wanted;
  wanted.features = {"flange"};
  Shop shop(wanted);
  shop.begin();
  shop.press("micrometer-1", "40.06");
  CHECK(shop.press("micrometer-1", "40.07").tone == "stands");
  CHECK(shop.see("step.place") == "at-90");
  shop.press("micrometer-1", "40.00");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "reject");
  CHECK(fact.value == "40.07");  // the reading farthest outside
  CHECK(fact.by == "0.02");
}

TEST_CASE("a reduction is judged as a whole: no place by itself, the mean of the round") {
  Wanted wanted;
  wanted.features = {"mean-diameter"};
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("micrometer-1", "36.05").tone ==
        "place");  // beyond the limit by itself, and that is no matter
  CHECK(shop.press("micrometer-1", "35.98").tone == "part_end");
  const auto fact = shop.last_fact();
  CHECK(fact.value == "36.015");
  CHECK(fact.verdict == "accept");
  CHECK(fact.least == "35.98");
  CHECK(fact.greatest == "36.05");
  CHECK(fact.reduction == "mean");
}

TEST_CASE(
    "a reduction that rejects is asked again whole; a second reject stands, and never sounds like an "
    "accept") {
  Wanted wanted;
  wanted.features = {"mean-diameter", "length"};
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.0");
  shop.press("micrometer-1", "36.03");
  CHECK(shop.press("micrometer-1", "36.03").tone == "reject");
  CHECK(shop.facts("result").size() == 1);
  CHECK(shop.see("step.place") == "left");  // from its first place on
  shop.press("micrometer-1", "36.03");
  CHECK(shop.press("micrometer-1", "36.025").tone == "stands");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "reject");
  CHECK(fact.value == "36.0275");
  CHECK(fact.by == "0.0075");
  CHECK(shop.lot().claims.at("final/1").end == "rejected");
}

TEST_CASE("a reduction whose second round accepts: a third round decides") {
  Wanted wanted;
  wanted.features = {"mean-diameter"};
  Shop shop(wanted);
  shop.begin();
  for (const char* value : {"36.03", "36.03", "36.01", "36.01"})
    CHECK(shop.press("micrometer-1", value).what == "counted");
  CHECK(shop.facts("result").empty());
  CHECK(shop.see("step.place") == "left");
  for (const char* value : {"36.00", "36.01"}) CHECK(shop.press("micrometer-1", value).what == "counted");
  CHECK(shop.last_fact().value == "36.005");
  CHECK(shop.last_fact().verdict == "accept");
  CHECK(shop.last_fact().measured_again);
}

TEST_CASE("not good to a go / no-go member is asked once more and then stands") {
  Wanted wanted;
  wanted.features = {"thread"};
  Shop shop(wanted);
  shop.begin();
  shop.done("state_tool", {{"tool", "plug"}, {"id", "plug-1"}});
  CHECK(shop.see("step.kind") == "go");
  CHECK(shop.did("not_good") == "answer");
  CHECK(shop.see("step.kind") == "go");
  CHECK(shop.facts("result").empty());
  CHECK(shop.did("not_good") == "answer");
  CHECK(shop.see("step.kind") == "no_go");
  CHECK(shop.did("good") == "answer");
  const auto fact = shop.last_fact();
  CHECK(fact.verdict == "reject");
  CHECK(fact.gauge == "plug-1");
  CHECK(fact.step_kind == "go_no_go");
}

TEST_CASE("a look answered not good and then good is accepted without a third, and says so") {
  Wanted wanted;
  wanted.features = {"burr"};
  Shop shop(wanted);
  shop.begin();
  shop.act("not_good");
  shop.act("good");
  CHECK(shop.last_fact().verdict == "accept");
  CHECK(shop.last_fact().measured_again);
}

TEST_CASE("a look, check or member takes no answer in the first 0.8 s after it was told") {
  Wanted wanted;
  wanted.features = {"burr"};
  Shop shop(wanted);
  shop.begin();
  shop.pause = 0.79;
  CHECK(shop.refused("act", {{"action", "good"}}) == "too_early");
  shop.pause = 0.01;
  CHECK(shop.did("good") == "answer");
}

TEST_CASE(
    "ids of plugs and mating parts are stated once a walk, before their first answer; one that may not be "
    "used is refused") {
  Wanted wanted;
  wanted.features = {"thread", "mating"};
  Shop shop(wanted);
  shop.begin();
  CHECK(at(shop.view(), "tools_wanted").as_array().size() == 2);
  CHECK(shop.refused("act", {{"action", "good"}}) == "tool_not_stated");
  CHECK(shop.refused("state_tool", {{"tool", "plug"}, {"id", "plug-2"}}) == "refused");
  CHECK(shop.refused("state_tool", {{"tool", "plug"}, {"id", "plug-77"}}) == "unknown_tool");
  shop.done("state_tool", {{"tool", "plug"}, {"id", "plug-1"}});
  shop.done("state_tool", {{"tool", "pin"}, {"id", "pin-1"}});
  for (int answer = 0; answer < 6; ++answer)
    CHECK(shop.did("good") == "answer");  // two parts: nothing is asked for again
  CHECK(shop.see("walk.serial") == "3");
}

TEST_CASE("a typed value is marked as typed for ever, and goes by the same rule for rejects") {
  Shop shop;
  shop.begin();
  shop.done("type_value", {{"value", "30.15"}, {"unit", "mm"}});
  CHECK(shop.see("step.attempt") == "2");
  shop.done("type_value", {{"value", "30.14"}, {"unit", "mm"}});
  CHECK(shop.last_fact().typed);
  CHECK(shop.last_fact().verdict == "reject");
  CHECK(shop.last_fact().gauge == "");
  CHECK(shop.refused("type_value", {{"value", "3.4e1"}, {"unit", "mm"}}) == "not_a_decimal");
  CHECK(shop.refused("type_value", {{"value", "34"}, {"unit", "deg"}}) == "wrong_unit");
}
