// rules.md, "Resumed": after a start, a parked walk or a display that went, the last reading is said once
// more first.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

struct Resumed : Shop {
  Resumed() {
    begin();
    press("height-1", "30.02");
    restart();
    display_comes("page-1");
  }
};

}  // namespace

TEST_CASE("a start repeats the last reading of an active walk before anything counts") {
  Resumed shop;
  CHECK(shop.see("state") == "resumed");
  CHECK(shop.see("last.value") == "30.02");
  CHECK(shop.see("last.repeated") == "true");
  CHECK(shop.see("actions.good.does") == "go_on");
}

TEST_CASE("resumed ends with good, and the next press counts") {
  Resumed shop;
  CHECK(shop.did("good") == "go_on");
  CHECK_FALSE(resumed(shop));
  CHECK(shop.see("step.feature") == "outside");
  CHECK(shop.press("micrometer-1", "34.030").what == "counted");
}

TEST_CASE("resumed: a press of the same gauge is kept as not counted and does not end it") {
  Resumed shop;
  const auto outcome = shop.press("height-1", "30.02");
  CHECK(outcome.what == "not_counted");
  CHECK(outcome.why == "resumed");
  CHECK(resumed(shop));
  CHECK(shop.facts("result").size() == 1);
}

TEST_CASE("resumed ends with a reading from another gauge, which counts where its step could be seen") {
  Resumed shop;
  CHECK(shop.press("micrometer-1", "34.030").what == "counted");
  CHECK_FALSE(resumed(shop));
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("resumed ends with not good: the repeated reading is set aside and its step is open again") {
  Resumed shop;
  CHECK(shop.did("not_good") == "set_aside");
  CHECK_FALSE(resumed(shop));
  CHECK(shop.see("step.feature") == "length");
  CHECK(shop.walk_state().part->steps[0].attempts[0].aside);
  CHECK(shop.press("height-1", "30.03").what == "counted");
  const auto fact = shop.last_fact();
  CHECK(fact.value == "30.03");
  CHECK(fact.measured_again);
  CHECK_FALSE(fact.overrules.empty());
}

TEST_CASE("resumed: again tells it once more, and it stays resumed") {
  Resumed shop;
  CHECK(shop.did("again") == "tell_again");
  CHECK(resumed(shop));
  CHECK(shop.see("last.value") == "30.02");
}

TEST_CASE("resumed: a press before the repeat was told is too early, from whatever gauge") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.02");
  shop.restart();
  shop.tells = false;
  shop.display_comes("page-1");
  CHECK(shop.press("micrometer-1", "34.030").what == "too_early");
  CHECK(resumed(shop));
}

TEST_CASE("a walk of which nothing was read yet is not resumed by a start") {
  Shop shop;
  shop.begin();
  shop.restart();
  shop.display_comes("page-1");
  CHECK(shop.see("state") == "step");
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE("what was taken and told to nobody before the stop is repeated") {
  Shop shop;
  shop.begin();
  shop.clock.advance(3);
  shop.send("height-1", "30.02");
  shop.writer.keep_one_unheard();  // durable, and the daemon dies before it hears of it
  shop.restart();
  shop.display_comes("page-1");
  CHECK(shop.see("state") == "resumed");
  CHECK(shop.see("last.value") == "30.02");
  CHECK(shop.facts("result").size() == 1);
  CHECK(shop.did("good") == "go_on");
  CHECK(shop.see("step.feature") == "outside");
}

TEST_CASE("what never became durable is gone, and its step is asked again") {
  Shop shop;
  shop.begin();
  shop.clock.advance(3);
  shop.send("height-1", "30.02");
  shop.restart();
  shop.display_comes("page-1");
  CHECK(shop.see("state") == "step");
  CHECK(shop.see("step.feature") == "length");
}

TEST_CASE(
    "told only to displays that are gone: the walk is resumed when the last one goes, not while one stays") {
  Shop shop;
  shop.begin();
  shop.display_comes("page-2");
  shop.press("height-1", "30.02");
  shop.display_goes("page-1");
  CHECK_FALSE(resumed(shop));
  shop.display_goes("page-2");
  CHECK(resumed(shop));
  shop.display_comes("page-3");
  CHECK(shop.see("state") == "resumed");
}

TEST_CASE("a parked walk passes through resumed when it is taken up") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.02");
  shop.done("park");
  shop.done("take_up", {{"walk", shop.walk_key}});
  CHECK(shop.see("state") == "resumed");
  CHECK(shop.press("height-1", "30.02").what == "not_counted");
}

TEST_CASE("a restart keeps the exact step: pointer, attempts, place, hold") {
  Wanted wanted;
  wanted.features = {"length", "flange"};
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.0");
  shop.press("micrometer-1", "40.01");
  shop.press("micrometer-1", "40.2");  // reject at the second place: once more
  const auto before = shop.walk_state();
  shop.restart(true);  // another boot
  const auto after = shop.walk_state();
  CHECK(after.part == before.part);
  CHECK(after.standing.pointer == before.standing.pointer);
  CHECK(after.standing.resumed);
  shop.display_comes("page-1");
  shop.act("good");
  CHECK(shop.press("micrometer-1", "40.21").tone == "stands");
}
