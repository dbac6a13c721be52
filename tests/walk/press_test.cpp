// Pedals, buttons and code cards: the same action as a page's key, for what a display showed when it was
// pressed.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

/// A press now; the code of its refusal, "" where it was taken.
std::string press_key(Shop& shop, const std::string& action, const std::string& reason = "",
                      double ago_s = 0) {
  walk::Press press{"bench-1", action, reason, "pedal", "f13", shop.clock.now()};
  press.at.steady_ns -= static_cast<std::int64_t>(ago_s * 1e9);
  press.at.utc_us -= static_cast<std::int64_t>(ago_s * 1e6);
  std::string code = "no answer";
  shop.desk->press(press, [&](Expected<json::object> answer) { code = answer ? "" : answer.error().code; });
  shop.settle();
  return code;
}

std::size_t events(const Shop& shop) { return shop.writer.journal().size(); }

}  // namespace

TEST_CASE("a pedal does what the page's key does, and the record says which pedal it was") {
  Wanted wanted;
  wanted.features = {"burr", "length"};
  Shop shop(wanted);
  shop.begin();
  shop.clock.advance(3);
  if (shop.see("step.feature") != "burr") {
    shop.press("height-1", "30.0");
    shop.clock.advance(3);
  }
  REQUIRE(shop.see("step.feature") == "burr");
  CHECK(press_key(shop, "good") == "");
  const auto& event = shop.writer.journal().back().content;
  CHECK(event.kind == "act");
  CHECK(event.input.find(R"("port":"pedal")") != std::string::npos);
  CHECK(event.input.find(R"("code":"f13")") != std::string::npos);
  CHECK(shop.see("last.what") == "answer");
  CHECK(shop.see("last.verdict") == "accept");
}

TEST_CASE("a pedal counts for what stood on the display when it was pressed, not for what came after") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");  // the step moves on now, and the display tells it now
  shop.clock.advance(0.2);
  const auto before = events(shop);
  CHECK(press_key(shop, "again", "dirt", 0.3) == "moved_on");
  CHECK(events(shop) == before);
  CHECK(shop.see("press.code") == "moved_on");
  CHECK(shop.see("press.action") == "again");
  CHECK(press_key(shop, "again", "dirt", 0.1) == "");
  CHECK(shop.see("last.what") == "retake");
  CHECK(shop.see("press") == "");
}

TEST_CASE("a pedal that comes while a reading is being kept is for the step before it") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  shop.clock.advance(3);
  shop.send("micrometer-1", "34.030");  // waits in the writer
  std::string code = "no answer";
  shop.desk->press({"bench-1", "again", "dirt", "pedal", "f13", shop.clock.now()},
                   [&](Expected<json::object> answer) { code = answer ? "" : answer.error().code; });
  CHECK(code == "no answer");
  shop.settle();
  CHECK(code == "moved_on");
  CHECK(shop.see("last.what") == "counted");
}

TEST_CASE("an answer by pedal needs the same look as an answer by page") {
  Wanted wanted;
  wanted.features = {"burr"};
  Shop shop(wanted);
  shop.begin();
  shop.clock.advance(0.5);
  CHECK(press_key(shop, "good") == "too_early");
  CHECK(shop.see("press.code") == "too_early");
  shop.clock.advance(0.5);
  CHECK(press_key(shop, "good") == "");
}

TEST_CASE("where there is something to choose nothing is done, and the page is told to ask") {
  Shop shop;
  SUBCASE("no walk and none parked") {
    const auto before = events(shop);
    CHECK(press_key(shop, "good") == "to_choose");
    CHECK(press_key(shop, "not_good") == "to_choose");
    CHECK(events(shop) == before);
    CHECK(shop.see("press.number") == "2");
    return;
  }
  shop.begin();
  shop.press("height-1", "30.0");
  shop.clock.advance(3);
  const auto before = events(shop);
  SUBCASE("a retake has two reasons") {
    CHECK(press_key(shop, "again") == "to_choose");
    CHECK(events(shop) == before);
    CHECK(press_key(shop, "again", "dirt") == "");
    CHECK(shop.see("last.what") == "retake");
  }
  SUBCASE("a reason that is not in the list is no reason") {
    CHECK(press_key(shop, "again", "tired") == "unknown_reason");
    CHECK(events(shop) == before);
  }
  SUBCASE("what means nothing here does nothing") {
    CHECK(press_key(shop, "good") == "not_now");
    CHECK(events(shop) == before);
  }
}

TEST_CASE("the pedal takes up the parked walk, as the page's key does") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  shop.done("park");
  shop.clock.advance(3);
  CHECK(press_key(shop, "good") == "");
  CHECK(shop.see("state") == "resumed");
  shop.clock.advance(3);
  CHECK(press_key(shop, "good") == "");
  CHECK(shop.see("state") == "step");
}

TEST_CASE("without a display a pedal does nothing: nobody would see what it does") {
  Wanted wanted;
  wanted.features = {"burr"};
  Shop shop(wanted);
  shop.begin();
  shop.clock.advance(3);
  shop.display_goes("page-1");
  const auto before = events(shop);
  CHECK(press_key(shop, "good") == "not_now");
  CHECK(events(shop) == before);
  shop.display_comes("page-1");
  shop.clock.advance(3);
  CHECK(press_key(shop, "good") == "");
}

TEST_CASE("a pedal of a bench that is not there is refused") {
  Shop shop;
  std::string code;
  shop.desk->press({"bench-9", "good", "", "pedal", "f13", shop.clock.now()},
                   [&](Expected<json::object> answer) { code = answer ? "" : answer.error().code; });
  CHECK(code == "unknown_bench");
}
