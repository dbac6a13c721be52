// rules.md, "Which step, and does it count?": the presses that count, and those that are kept and do not.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

TEST_CASE("a press of the gauge that serves the present step counts, and the walk goes on to the next") {
  Shop shop;
  shop.begin();
  CHECK(shop.see("state") == "step");
  CHECK(shop.see("step.feature") == "length");
  const auto outcome = shop.press("height-1", "30.02");
  CHECK(outcome.what == "counted");
  CHECK(outcome.tone == "accept");
  CHECK(shop.see("step.feature") == "outside");
  const auto fact = shop.last_fact();
  CHECK(fact.feature == "length");
  CHECK(fact.verdict == "accept");
  CHECK(fact.value == "30.02");
  CHECK(fact.unit == "mm");
  CHECK(fact.lower == "29.9");
  CHECK(fact.upper == "30.1");
  CHECK(fact.gauge == "height-1");
  CHECK(fact.person == "ada");
  CHECK(fact.person_how == "name stated, not signed in");
  CHECK(fact.serial == "1");
  CHECK(fact.lot_name == "lot-1");
  CHECK(fact.machine == "lathe-2");
  CHECK(fact.heat == "h-77");
}

TEST_CASE("a press before the step was told to a display is kept as too early and never counted") {
  Shop shop;
  shop.tells = false;
  shop.begin();
  CHECK(shop.press("height-1", "30.02").what == "too_early");
  CHECK(shop.newest("reading").why == "not_told");
  CHECK(shop.facts("result").empty());
  CHECK(shop.count("reading") == 1);  // kept all the same, raw bytes too
  CHECK(shop.writer.journal().back().content.raw == "30.02\r\n");
  shop.tells = true;
  shop.tell();
  CHECK(shop.press("height-1", "30.02").what == "counted");
}

TEST_CASE("a press within the gauge's look time is too early, at its end it counts") {
  Shop shop;
  shop.begin();  // told at this instant
  shop.clock.advance(0.4 - 1e-9);
  CHECK(shop.press_now("height-1", "30.01").what == "too_early");
  shop.clock.advance(1e-9);
  CHECK(shop.press_now("height-1", "30.02").what == "counted");  // 0.4 s by default
}

TEST_CASE("after a reject that stands the next press wants two seconds") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.2");
  CHECK(shop.press("height-1", "30.21").tone == "stands");
  shop.clock.advance(1.9);
  CHECK(shop.press_now("micrometer-1", "34.030").what == "too_early");
  shop.clock.advance(0.1);
  CHECK(shop.press_now("micrometer-1", "34.031").what == "counted");
}

TEST_CASE("a gauge with look time zero counts at the instant of telling") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) { setup.cards[0].look_time_s = 0; };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press_now("height-1", "30.02").what == "counted");
}

TEST_CASE("the same value again within the repeat window is a duplicate; another value, or later, is not") {
  Wanted wanted;
  wanted.features = {"flange"};
  wanted.change_setup = [](Setup& setup) { setup.cards[1].look_time_s = 0; };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("micrometer-1", "40.00").what == "counted");
  shop.clock.advance(0.3 - 1e-9);
  CHECK(shop.press_now("micrometer-1", "40.00").what == "duplicate");
  CHECK(shop.see("step.place") == "at-90");  // the second place still waits
  shop.clock.advance(0.1);
  CHECK(shop.press_now("micrometer-1", "40.01").what == "counted");
  CHECK(shop.see("walk.serial") == "2");
  shop.clock.advance(0.3);
  CHECK(shop.press_now("micrometer-1", "40.01").what ==
        "counted");  // exactly at the window's end: not a duplicate
  CHECK(shop.facts("result").size() == 1);
}

TEST_CASE("of presses that waited for a commit only the first can count") {
  Wanted wanted;
  wanted.features = {"flange"};
  wanted.change_setup = [](Setup& setup) { setup.cards[1].look_time_s = 0; };
  Shop shop(wanted);
  shop.begin();
  shop.clock.advance(1);
  shop.send("micrometer-1", "40.00");
  for (const char* value : {"40.01", "40.02", "40.03"}) {
    shop.clock.advance(0.5);
    shop.send("micrometer-1", value);
  }
  CHECK(shop.writer.waiting() == 1);  // the others wait, undecided
  shop.clock.advance(0.5);
  shop.settle();
  CHECK(shop.count("reading") == 4);
  std::vector<std::string> whats;
  for (const auto& event : shop.writer.journal())
    if (event.content.kind == "reading") whats.push_back(outcome_of(event).what);
  // The second step was told only after the first commit: what was pressed before that could not have seen
  // it.
  CHECK(whats == std::vector<std::string>{"counted", "too_early", "too_early", "too_early"});
}

TEST_CASE(
    "a gauge that serves another open step moves the pointer; that press is kept and not counted, the next "
    "counts") {
  Shop shop;
  shop.begin();
  const auto moved = shop.press("micrometer-1", "34.030");
  CHECK(moved.what == "moved");
  CHECK(moved.tone == "moved");
  CHECK(shop.see("step.feature") == "outside");
  CHECK(shop.see("last.balloon") == "2");
  CHECK(shop.facts("result").empty());
  CHECK(shop.press("micrometer-1", "34.031").what == "counted");
  CHECK(shop.see("step.feature") == "length");  // round, back to what is open
  CHECK(shop.see("walk.serial") == "1");
}

TEST_CASE(
    "the pointer moves to the nearest open step forward in plan order and round, and never to a step already "
    "done") {
  Wanted wanted;
  wanted.features = {"outside", "flange", "length"};
  wanted.change = [](Edition& edition) {
    for (auto& feature : edition.features) feature.tells_sizes_apart = false;
  };
  Shop shop(wanted);
  shop.begin();
  const std::string first = shop.see("step.feature");
  std::vector<std::string> order;
  for (const auto index : shop.walk_state().part->asked) {
    const auto& prepared = *shop.desk->catalogue().at(shop.walk_state().edition);
    order.push_back(prepared.edition.features[prepared.steps[index].feature].key);
  }
  if (first != "length") {
    CHECK(shop.press("height-1", "30.0").what == "moved");
    CHECK(shop.see("step.feature") == "length");
    CHECK(shop.press("height-1", "30.0").what == "counted");
  } else {
    CHECK(shop.press("height-1", "30.0").what == "counted");
  }
  // Length is done: a press of the height gauge has nowhere to go.
  const auto again = shop.press("height-1", "30.0");
  CHECK(again.what == "held");
  CHECK(hold_kind(shop) == "wrong_gauge");
  CHECK(shop.walk_state().part->serial == 1);
  CHECK(order.size() == 4);
}

TEST_CASE("a press never counts for another part: a gauge that serves nothing open of this part is held") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  const auto outcome = shop.press("height-1", "30.0");
  CHECK(outcome.what == "held");
  CHECK(shop.see("walk.serial") == "1");
  CHECK(shop.facts("result").size() == 1);
}

TEST_CASE(
    "a press never chooses its step by value: a value that fits another step's limits is not sent there") {
  Wanted wanted;
  wanted.features = {"outside", "flange"};
  Shop shop(wanted);
  shop.begin();
  const std::string present = shop.see("step.feature");
  const std::string other_value = present == "outside" ? "40.00" : "34.030";
  CHECK(shop.press("micrometer-1", other_value).what == "held");
  CHECK(shop.see("step.feature") == present);
  CHECK(shop.facts("result").empty());
}

TEST_CASE("no move while a reject waits for its repeat") {
  Shop shop;
  shop.begin();
  CHECK(shop.press("height-1", "30.2").tone == "reject");
  CHECK(shop.press("micrometer-1", "34.030").what == "held");
  CHECK(hold_kind(shop) == "wrong_gauge");
  CHECK(shop.see("step.feature") == "length");
}

TEST_CASE("a checklist may forbid moves") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.moves_allowed = false; };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("micrometer-1", "34.030").what == "held");
  CHECK(hold_kind(shop) == "wrong_gauge");
  CHECK(shop.see("step.feature") == "length");
}

TEST_CASE("two gauges that serve are both allowed, and the result says which one was used") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) {
    setup.cards.push_back(card("micrometer-9", "outside-micrometer", "25", "50"));
  };
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.0");
  CHECK(shop.press("micrometer-9", "34.030").what == "counted");
  CHECK(shop.last_fact().gauge == "micrometer-9");
}

TEST_CASE("a bench without a display takes no reading: soft hold, nobody would be told") {
  Shop shop;
  shop.begin();
  shop.display_goes("page-1");
  const auto outcome = shop.press("height-1", "30.0");
  CHECK(outcome.what == "held");
  CHECK(hold_kind(shop) == "nobody_told");
  CHECK(shop.facts("result").empty());
  shop.display_comes("page-3");
  CHECK(hold_kind(shop) == "");
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE(
    "a reading that no walk of its bench was offered is not kept; one of another bench's gauge does not "
    "touch the walk") {
  Shop shop;
  const auto before = shop.writer.journal().size();
  shop.press("height-1", "30.0");
  CHECK(shop.writer.journal().size() == before);
  shop.begin();
  const auto events = shop.writer.journal().size();
  shop.press("height-2", "30.0");
  CHECK(shop.writer.journal().size() == events);
  CHECK(shop.facts("result").empty());
}

TEST_CASE("two gauges at one instant: both are kept, each is decided on the state that it finds") {
  Shop shop;
  shop.begin();
  shop.clock.advance(2);
  shop.send("height-1", "30.0");
  shop.send("micrometer-1", "34.030");
  shop.settle();
  CHECK(shop.count("reading") == 2);
  // The micrometer was pressed before its step had been shown.
  CHECK(shop.newest("reading").what == "too_early");
  CHECK(shop.facts("result").size() == 1);
}

TEST_CASE("a press waiting when a repeat is taken back by again does not count for the step opened anew") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.2");  // reject: once more
  shop.clock.advance(3);
  walk::Command again = shop.prepared("act", {{"action", "again"}});
  shop.desk->command(again, {});
  shop.send("height-1", "30.0");  // pressed for the second attempt, before the retake was shown
  shop.settle();
  CHECK(shop.newest("reading").what == "too_early");
  CHECK(shop.facts("result").empty());
}
