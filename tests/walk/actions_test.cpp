// rules.md, "The three actions": the table, row by row; and that no key does what the page did not show.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

struct Row {
  std::string good, not_good, again;
  bool operator==(const Row&) const = default;
};
std::ostream& operator<<(std::ostream& out, const Row& row) {
  return out << row.good << " | " << row.not_good << " | " << row.again;
}

Row row(const Rig& shop) {
  return {shop.see("actions.good.does"), shop.see("actions.not_good.does"), shop.see("actions.again.does")};
}

/// An action that the view does not offer is refused, whatever the state.
void check_empty_actions(Rig& shop) {
  for (const char* action : {"good", "not_good", "again"})
    if (shop.see(std::string("actions.") + action + ".does").empty()) {
      const auto events = shop.writer.journal().size();
      CHECK(shop.refused("act", {{"action", action}}) == "not_now");
      CHECK(shop.writer.journal().size() == events);
    }
}

}  // namespace

TEST_CASE("row resumed: go on, set the repeated reading aside, tell it once more") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  shop.restart();
  shop.display_comes("page-1");
  CHECK(row(shop) == Row{"go_on", "set_repeated_aside", "tell_again"});
}

TEST_CASE("row resumed comes before a hold") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  shop.press("micrometer-1", "26.0");
  CHECK(hold_kind(shop) == "value");
  shop.restart();
  shop.display_comes("page-1");
  CHECK(row(shop) == Row{"go_on", "set_repeated_aside", "tell_again"});
  shop.act("good");
  CHECK(row(shop) == Row{"", "it_is_so", "part_anew"});
}

TEST_CASE("row soft hold of value or size: nothing, it is so, wrong part") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "12");
  CHECK(row(shop) == Row{"", "it_is_so", "part_anew"});
  check_empty_actions(shop);
  Shop other;
  other.begin();
  other.press("height-1", "32");
  CHECK(row(other) == Row{"", "it_is_so", "part_anew"});
}

TEST_CASE(
    "row soft hold of value: a gauge that has to be asked can still be asked, else nothing could end the "
    "hold") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) { setup.cards[0].speaks = "asked"; };
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "12");
  CHECK(row(shop) == Row{"ask_gauge", "it_is_so", "part_anew"});
}

TEST_CASE("row other soft hold: nothing, nothing, forget it") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "0");
  CHECK(row(shop) == Row{"", "", "forget_hold"});
  check_empty_actions(shop);
}

TEST_CASE("row step, gauge is asked: ask it, pass over, retake") {
  Wanted wanted;
  wanted.features = {"length", "outside"};
  wanted.change_setup = [](Setup& setup) {
    setup.cards[0].speaks = "asked";
    setup.cards[1].speaks = "asked";
  };
  Shop shop(wanted);
  shop.begin();
  CHECK(row(shop) == Row{"ask_gauge", "pass_over", ""});
  check_empty_actions(shop);
  CHECK(shop.did("good") == "asked");
  CHECK(shop.asked == std::vector<std::string>{"height-1"});
  shop.clock.advance(1);
  auto reading = shop.reading("height-1", "30.0");
  reading.cause = Cause::asked;
  shop.desk->offer(reading);
  shop.settle();
  CHECK(shop.newest("reading").what == "counted");
  CHECK(row(shop) == Row{"ask_gauge", "pass_over", "retake"});
}

TEST_CASE("a gauge that does not answer says so, and can be asked again") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) { setup.cards[0].speaks = "asked"; };
  Shop shop(wanted);
  shop.begin();
  shop.act("good");
  shop.desk->not_answered("height-1", "no_reply");
  shop.settle();
  CHECK(shop.see("last.what") == "not_answered");
  CHECK(row(shop).good == "ask_gauge");
}

TEST_CASE("row step, capture: start, pass over; while it runs: drop it, start anew; its end counts") {
  Wanted wanted;
  wanted.features = {"runout"};
  Shop shop(wanted);
  shop.begin();
  CHECK(row(shop).good == "begin_capture");
  // A streaming gauge never offers samples.
  const auto events = shop.writer.journal().size();
  shop.stream("lever-1", "0.005");
  CHECK(shop.writer.journal().size() == events);
  CHECK(shop.did("good") == "capture_begun");
  CHECK(shop.see("state") == "capture");
  CHECK(row(shop) == Row{"", "drop_capture", "restart_capture"});
  CHECK(shop.did("again") == "capture_begun");
  CHECK(shop.did("not_good") == "capture_dropped");
  shop.stream("lever-1", "0.005");
  CHECK(shop.facts("result").empty());
  CHECK(shop.did("good") == "capture_begun");
  CHECK(shop.stream("lever-1", "0.011").what == "counted");
  CHECK(shop.last_fact().value == "0.011");
  CHECK(shop.last_fact().step_kind == "capture");
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("capture now: the first frame that begins after the action is taken, not one that was on its way") {
  Wanted wanted;
  wanted.features = {"runout"};
  wanted.change_setup = [](Setup& setup) { setup.cards[4].look_time_s = 0; };
  Shop shop(wanted);
  shop.begin();
  shop.clock.advance(1);
  auto under_way = shop.reading("lever-1", "0.019", "", true, Cause::streamed);
  CHECK(shop.did("good") == "capture_begun");
  shop.clock.advance(0.01);
  under_way.frame.last = shop.clock.now();  // began before, ended after
  shop.desk->offer(under_way);
  shop.settle();
  CHECK(shop.count("capture_ended") == 0);
  CHECK(shop.stream("lever-1", "0.012", 0.01).what == "counted");
  CHECK(shop.last_fact().value == "0.012");
}

TEST_CASE("capture: of a fast stream one frame ends it, the rest is not offered") {
  Wanted wanted;
  wanted.features = {"runout"};
  Shop shop(wanted);
  shop.begin();
  shop.act("good");
  shop.clock.advance(1);
  for (int frame = 0; frame < 20; ++frame) {
    shop.clock.advance(0.01);
    shop.desk->offer(
        shop.reading("lever-1", "0.0" + std::to_string(10 + frame % 5), "", true, Cause::streamed));
  }
  shop.settle();
  CHECK(shop.count("capture_ended") == 1);
  CHECK(shop.facts("result").size() == 1);
}

TEST_CASE("a capture that rejects is captured again whole, and a second reject stands") {
  Wanted wanted;
  wanted.features = {"runout"};
  Shop shop(wanted);
  shop.begin();
  shop.act("good");
  CHECK(shop.stream("lever-1", "0.021").tone == "reject");
  CHECK(shop.see("walk.serial") == "1");
  shop.act("good");
  CHECK(shop.stream("lever-1", "0.022").tone == "stands");
  CHECK(shop.last_fact().verdict == "reject");
}

TEST_CASE("row step, gauge pushes: nothing, pass over, retake") {
  Shop shop;
  shop.begin();
  CHECK(row(shop) == Row{"", "pass_over", ""});
  check_empty_actions(shop);
  shop.press("height-1", "30.0");
  CHECK(row(shop) == Row{"", "pass_over", "retake"});
}

TEST_CASE("row member, mating check, look: as it should, not as it should, one answer back") {
  for (const std::string feature : {"thread", "mating", "burr"}) {
    CAPTURE(feature);
    Wanted wanted;
    wanted.features = {feature};
    Shop shop(wanted);
    shop.begin();
    shop.done("state_tool", {{"tool", "plug"}, {"id", "plug-1"}});
    shop.done("state_tool", {{"tool", "pin"}, {"id", "pin-1"}});
    CHECK(row(shop) == Row{"as_it_should", "not_as_it_should", ""});
    check_empty_actions(shop);
    shop.act("good");
    CHECK(row(shop) == Row{"as_it_should", "not_as_it_should", "answer_back"});
  }
}

TEST_CASE("row part ended, next waits for a key: begin it, end the walk, retake in the last part") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.next_part = "by_key"; };
  Shop shop(wanted);
  shop.begin();
  shop.good_part();
  CHECK(row(shop) == Row{"begin_part", "end_walk", "retake_previous"});
}

TEST_CASE("hard hold and setting: what is not in the table does nothing") {
  Shop shop;
  shop.begin("in process");
  shop.good_part();
  CHECK(shop.see("state") == "hard_hold");
  CHECK(row(shop) == Row{"", "", "retake_previous"});
  check_empty_actions(shop);
  Wanted wanted;
  wanted.features = {"bore"};
  Shop other(wanted);
  other.begin();
  CHECK(other.see("state") == "setting");
  CHECK(row(other) == Row{"", "", ""});
  check_empty_actions(other);
}

TEST_CASE("an action that is none of the three is refused") {
  Shop shop;
  shop.begin();
  CHECK(shop.refused("act", {{"action", "maybe"}}) == "wrong_shape");
  CHECK(shop.refused("act") == "wrong_shape");
}
