// *again*: how far it reaches back, with which reasons, and what becomes of the results it replaces.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

TEST_CASE("again retakes the last reading with a reason from the shop's list, and the step is open again") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.02");
  CHECK(shop.refused("act", {{"action", "again"}, {"reason", "bad mood"}}) == "unknown_reason");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.see("step.feature") == "length");
  CHECK(shop.press("height-1", "30.03").what == "counted");
  const auto facts = shop.facts("result");
  REQUIRE(facts.size() == 2);
  CHECK(facts[1].reason == "dirt");
  CHECK(facts[1].measured_again);
  CHECK(facts[1].overrules ==
        shop.writer.journal()[shop.writer.journal().size() - 3].key.journal + facts[1].overrules.substr(32));
  CHECK(facts[1].overrules.ends_with("/1"));
  CHECK(shop.see("step.feature") == "outside");
  CHECK(shop.walk_state().part->steps[0].attempts.size() == 2);  // nothing is lost
}

TEST_CASE("again after a reject that stood: the new reading decides, and the part is no longer held") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.2");
  shop.press("height-1", "30.2");
  CHECK(shop.walk_state().part->held);
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.press("height-1", "30.0").what == "counted");
  CHECK(shop.last_fact().verdict == "accept");
  CHECK_FALSE(shop.walk_state().part->held);
  shop.press("micrometer-1", "34.030");
  CHECK(shop.lot().claims.at("final/1").end == "accepted");
}

TEST_CASE("again before the first reading of the new part reaches back to the last reading of the old one") {
  Shop shop;
  shop.begin();
  shop.good_part();
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.see("walk.serial") == "1");
  CHECK(shop.see("step.feature") == "outside");
  CHECK(shop.press("micrometer-1", "34.050").tone == "reject");
  CHECK(shop.press("micrometer-1", "34.051").tone == "stands");
  CHECK(shop.lot().claims.at("final/1").end == "rejected");
  CHECK(shop.last_fact().serial == "1");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("step.feature") == "length");
  shop.good_part();
  CHECK(shop.lot().claims.at("final/2").end == "accepted");
}

TEST_CASE("again after the first reading of the new part stays in the new part") {
  Shop shop;
  shop.begin();
  shop.good_part();
  shop.press("height-1", "30.01");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.see("walk.serial") == "2");
  // Nothing counted is left to retake: the part before cannot be reached any more.
  CHECK(shop.refused("act", {{"action", "again"}}) != "");
}

TEST_CASE(
    "again at the end of a part that waits for a key retakes in the last part, and then it waits for the key "
    "again") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.next_part = "by_key"; };
  Shop shop(wanted);
  shop.begin();
  shop.good_part();
  CHECK(shop.see("actions.again.does") == "retake_previous");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.see("step.feature") == "outside");
  CHECK(shop.see("walk.serial") == "1");
  CHECK(shop.press("micrometer-1", "34.031").what == "counted");
  CHECK(shop.see("state") == "between_parts");
  CHECK(shop.did("good") == "part_begun");
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("again at the end of the last part: retaken, and nothing is left again") {
  Shop shop;
  shop.begin("final", 1);
  shop.good_part();
  CHECK(shop.see("state") == "done");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.press("micrometer-1", "34.031").what == "counted");
  CHECK(shop.see("state") == "done");
  CHECK(shop.did("good") == "walk_ended");  // without being asked twice
}

TEST_CASE("again while the setup waits for its release: retaken, and it waits for the release again") {
  Shop shop;
  shop.begin("in process");
  shop.good_part();
  CHECK(hold_kind(shop) == "setup_not_released");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.press("micrometer-1", "34.032").what == "counted");
  CHECK(hold_kind(shop) == "setup_not_released");
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("a retake in the part before that turns the first part bad takes the release away") {
  Shop shop;
  shop.begin("in process");
  shop.good_part();
  CHECK(shop.lot().need == "release");
  shop.did("again", "dirt");
  shop.press("micrometer-1", "34.06");
  shop.press("micrometer-1", "34.06");
  CHECK(shop.lot().need == "first_part");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("walk.part_stage") == "first part");
}

TEST_CASE("an answer can be taken back one answer") {
  Wanted wanted;
  wanted.features = {"burr", "mating"};
  Shop shop(wanted);
  shop.begin();
  shop.done("state_tool", {{"tool", "pin"}, {"id", "pin-1"}});
  const auto first = shop.see("step.feature");
  shop.act("good");
  CHECK(shop.see("actions.again.does") == "answer_back");
  shop.act("again");
  CHECK(shop.see("step.feature") == first);
  shop.act("not_good");
  shop.act("not_good");
  CHECK(shop.last_fact().verdict == "reject");
}

TEST_CASE("a reading set aside by its key opens its step again, whichever it was") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.02");
  const auto key = shop.walk_state().part->steps[0].attempts[0].event;
  CHECK(shop.refused("set_aside", {{"reading", "nonsense"}, {"reason", "dirt"}}) == "unknown_reading");
  shop.done("set_aside", {{"reading", key}, {"reason", "dirt"}});
  CHECK(shop.see("step.feature") == "length");
  CHECK(shop.walk_state().part->steps[0].attempts[0].aside);
  CHECK(shop.refused("set_aside", {{"reading", key}, {"reason", "dirt"}}) == "unknown_reading");
}

TEST_CASE("a reading moved to another open step is judged anew there") {
  Wanted wanted;
  wanted.features = {"flange", "mean-diameter"};
  Shop shop(wanted);
  shop.begin();
  const auto first = shop.see("step.feature");
  const std::string to = first == "flange" ? "mean-diameter" : "flange";
  const std::string value = first == "flange" ? "40.00" : "36.01";
  shop.press("micrometer-1", value);
  const auto key = shop.walk_state().part->steps[0].attempts[0].event;
  CHECK(shop.refused("move_reading", {{"reading", key}, {"feature", "nowhere"}}) != "");
}

TEST_CASE("a result that a retake with another gauge replaced is no longer the first gauge's") {
  Wanted wanted;
  wanted.features = {"bore"};
  wanted.change_setup = [](Setup& setup) {
    for (auto& gauge : setup.cards)
      if (gauge.id == "bore-1") gauge.setting.void_on = {};
    auto second = setup.cards[3];
    second.id = second.name = "bore-9";
    setup.cards.push_back(second);
  };
  Shop shop(wanted);
  shop.press("bore-1", "0.000");
  shop.press("bore-9", "0.000");
  shop.begin();
  shop.press("bore-1", "0.005");
  REQUIRE(shop.gauge("bore-1").since_good.size() == 1);
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(shop.press("bore-9", "0.006").what == "counted");
  CHECK(shop.gauge("bore-1").since_good.empty());
  CHECK(shop.gauge("bore-9").since_good.size() == 1);
}
