// How a part ends and the next begins, and who has which part of a lot.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

TEST_CASE(
    "a part ends when none of its steps is open, and the lot's next begins by itself in the same event") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  const auto events = shop.writer.journal().size();
  const auto outcome = shop.press("micrometer-1", "34.030");
  CHECK(shop.writer.journal().size() == events + 1);
  CHECK(outcome.tone == "part_end");
  CHECK(outcome.walks.begin()->second.ended == "accepted");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.lot().claims.at("final/1").end == "accepted");
  CHECK(shop.lot().claims.at("final/2").bench == "bench-1");
  CHECK(shop.lot().claims.at("final/2").end == "");
}

TEST_CASE("the lot's last part ends: nothing is left, and good ends the walk") {
  Shop shop;
  shop.begin("final", 1);
  shop.good_part();
  CHECK(shop.see("state") == "done");
  CHECK(shop.see("actions.good.does") == "end_walk");
  CHECK(shop.did("good") == "walk_ended");
  CHECK(shop.see("state") == "idle");
  CHECK(shop.desk->states().walks.empty());
}

TEST_CASE("a new walk may begin where the last one has no part left") {
  Shop shop;
  shop.begin("final", 1);
  shop.good_part();
  shop.lot_key.clear();
  shop.open_lot("lot-2", 2);
  shop.begin();
  CHECK(shop.see("walk.lot_name") == "lot-2");
  CHECK(shop.desk->states().walks.size() == 1);
}

TEST_CASE("next part by key: the walk waits between parts, good begins the next") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.next_part = "by_key"; };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.see("walk.serial") == "1");  // beginning the walk was the key for the first
  shop.good_part();
  CHECK(shop.see("state") == "between_parts");
  CHECK(shop.press("height-1", "30.0").what == "not_counted");
  CHECK(shop.did("good") == "part_begun");
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("between parts, not good ends the walk, and asks once") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.next_part = "by_key"; };
  Shop shop(wanted);
  shop.begin();
  shop.good_part();
  CHECK(shop.did("not_good") == "sure_to_end");
  CHECK(shop.see("sure_to_end") == "true");
  CHECK(shop.did("not_good") == "walk_ended");
  CHECK(shop.desk->states().walks.empty());
}

TEST_CASE("between parts, any other action takes the question back") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.next_part = "by_key"; };
  Shop shop(wanted);
  shop.begin();
  shop.good_part();
  CHECK(shop.did("not_good") == "sure_to_end");
  CHECK(shop.did("good") == "part_begun");
  shop.good_part();
  CHECK(shop.did("not_good") == "sure_to_end");
}

TEST_CASE("two benches on one lot: the second gets the next free serial, and no part twice") {
  Shop shop;
  shop.begin("final", 5);
  shop.begin_at_bench_2();
  CHECK(shop.see("walk.serial") == "1");
  shop.bench = "bench-2";
  CHECK(shop.see("walk.serial") == "2");
  shop.press("height-2", "30.0");
  shop.press("micrometer-2", "34.030");
  CHECK(shop.see("walk.serial") == "3");
  shop.bench = "bench-1";
  shop.good_part();
  CHECK(shop.see("walk.serial") == "4");
}

TEST_CASE("two benches that end a part at one instant never claim the same next one") {
  Shop shop;
  shop.begin("final", 9);
  shop.begin_at_bench_2();
  shop.press("height-1", "30.0");
  shop.press("height-2", "30.0");
  shop.clock.advance(3);
  shop.send("micrometer-1", "34.030");
  shop.send("micrometer-2", "34.031");
  shop.settle();
  CHECK(shop.facts("result").size() == 4);
  CHECK(shop.see("walk.serial") == "3");
  shop.bench = "bench-2";
  CHECK(shop.see("walk.serial") == "4");
  CHECK(shop.lot().claims.size() == 4);
}

TEST_CASE("when every part is claimed a second bench is told so") {
  Shop shop;
  shop.begin("final", 1);
  shop.display_comes("page-2", "bench-2");
  shop.bench = "bench-2";
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}}) == "no_part_left");
}

TEST_CASE("a part is claimed for its group of stages: final does not take what in process has") {
  Shop shop;
  shop.begin("final", 2);
  shop.begin_at_bench_2("in process");
  shop.bench = "bench-2";
  CHECK(shop.see("walk.serial") == "1");
  CHECK(shop.lot().claims.contains("final/1"));
  CHECK(shop.lot().claims.contains("in_process/1"));
}

TEST_CASE("a bench has at most one active walk, any number parked; a parked walk is taken up at its step") {
  Shop shop;
  shop.begin("final", 5);
  shop.press("height-1", "30.0");
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}}) == "not_now");
  const auto first = shop.walk_key;
  shop.done("park");
  CHECK(shop.see("state") == "idle");
  shop.begin();
  CHECK(shop.see("walk.serial") == "2");
  const auto second = shop.walk_key;
  CHECK(shop.refused("take_up", {{"walk", first}}) == "not_now");
  shop.done("park");
  CHECK(at(shop.view(), "parked").as_array().size() == 2);
  shop.done("take_up", {{"walk", first}});
  CHECK(shop.see("walk.serial") == "1");
  CHECK(resumed(shop));
  CHECK(shop.did("good") == "go_on");
  CHECK(shop.see("step.feature") == "outside");
  CHECK(shop.refused("take_up", {{"walk", first}}) == "unknown_walk");
}

TEST_CASE("a part that was begun and never touched goes back to the lot when its walk ends") {
  Shop shop;
  shop.begin("final", 2);
  shop.done("end_walk");
  CHECK(shop.lot().claims.at("final/1").end == "given_back");
  shop.begin();
  CHECK(shop.see("walk.serial") == "1");
}

TEST_CASE(
    "a walk with a part begun is not ended but given up, with a reason; its part is incomplete and not given "
    "again") {
  Shop shop;
  shop.begin("final", 2);
  shop.press("height-1", "30.0");
  CHECK(shop.refused("end_walk") == "not_now");
  CHECK(shop.refused("give_up") == "wrong_shape");
  shop.done("give_up", {{"reason", "fire drill"}});
  CHECK(shop.lot().claims.at("final/1").end == "incomplete");
  shop.begin();
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("a step passed over with a reason leaves the part incomplete, never accepted") {
  Shop shop;
  shop.begin();
  CHECK(shop.refused("act", {{"action", "not_good"}, {"reason", "felt like it"}}) == "unknown_reason");
  CHECK(shop.did("not_good", "no gauge at hand") == "passed_over");
  CHECK(shop.press("micrometer-1", "34.030").what == "counted");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.lot().claims.at("final/1").end == "incomplete");
  CHECK(shop.facts("result").size() == 1);
}

TEST_CASE("a walk takes the serials that its command names, from the lot's and no others") {
  Shop shop;
  shop.open_lot("lot-1", 9);
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}, {"first", 5}, {"last", 12}}) ==
        "wrong_shape");
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "someday"}}) == "wrong_shape");
  shop.done("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}, {"first", 5}, {"last", 5}});
  CHECK(shop.see("walk.serial") == "5");
  shop.good_part();
  CHECK(shop.see("state") == "done");
}

TEST_CASE(
    "features named for a stage are asked only there; the stage's name may be written with a low line") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.features[1].stages = {"first_part"}; };
  Shop shop(wanted);
  shop.begin("final");
  CHECK(shop.walk_state().part->asked.size() == 1);
  shop.done("give_up", {{"reason", "other stage"}});
  shop.done("begin_walk", {{"lot", shop.lot_key}, {"stage", "in process"}});
  CHECK(shop.walk_state().part->stage == "first part");  // a new lot is a new setup
  CHECK(shop.walk_state().part->asked.size() == 2);
}

TEST_CASE("the feature that tells sizes apart is asked first, wherever the checklist has it") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { std::swap(edition.features[0], edition.features[1]); };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.see("step.feature") == "length");
}
