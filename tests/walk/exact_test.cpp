// Promise 3 through the whole walk: a value that equals a limit is inside it, one count beyond is outside, in
// millimetres and in inches, and nothing on the way rounds.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

std::string verdict_of(const std::string& value, const std::string& unit = "mm") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  const auto outcome = shop.press("micrometer-1", value, unit);
  REQUIRE(outcome.what == "counted");
  return shop.see("last.verdict");
}

/// A family whose width is printed in inches: 0.4375 +/- 0.0010 in, that is 11.0871 .. 11.1379 mm.
Wanted in_inches() {
  Wanted wanted;
  wanted.features = {"outside"};
  wanted.change = [](Edition& edition) {
    auto& width = edition.features[0];
    width.unit = "in";
    width.nominal = "0.4375";
    width.lower = "0.4365";
    width.upper = "0.4385";
    width.plausible_lower = "0.4265";
    width.plausible_upper = "0.4485";
  };
  wanted.change_setup = [](Setup& setup) {
    auto& gauge = setup.cards[2];  // 0 to 25 mm, with a key that switches it to inches
    gauge.also_units = {"in"};
  };
  return wanted;
}

}  // namespace

TEST_CASE("at the limit accept, one count of the base (a picometre) beyond reject, both sides") {
  CHECK(verdict_of("34.042") == "accept");
  CHECK(verdict_of("34.042000001") == "reject");
  CHECK(verdict_of("34.026") == "accept");
  CHECK(verdict_of("34.025999999") == "reject");
}

TEST_CASE("the traps of binary floating point: sums of tenths that double cannot hold") {
  // 34.0 + 0.1 + 0.2 and the like are exact decimals here; in double 0.1 + 0.2 is 0.30000000000000004 (IEEE
  // 754).
  Wanted wanted;
  wanted.change = [](Edition& edition) {
    edition.features[0].lower = "29.7";
    edition.features[0].upper = "30.3";
    edition.features[0].nominal = "30";
  };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("height-1", "30.3").tone == "accept");
  Shop other(wanted);
  other.begin();
  CHECK(other.press("height-1", "30.300000001").tone == "reject");
}

TEST_CASE(
    "print in inches, gauge in millimetres: 0.4375 in is exactly 11.1125 mm (the inch of 1959: 25.4 mm)") {
  Shop shop(in_inches());
  shop.begin();
  CHECK(shop.press("micrometer-0", "11.1125", "mm").what == "counted");
  auto fact = shop.last_fact();
  CHECK(fact.value == "0.4375");
  CHECK(fact.unit == "in");
  CHECK(fact.lower == "0.4365");
  CHECK(shop.see("last.sent.value") == "11.1125");
  CHECK(shop.see("last.sent.unit") == "mm");
}

TEST_CASE(
    "print in inches, gauge in millimetres: exact at both limits, 0.4385 in = 11.1379 mm and 0.4365 in = "
    "11.0871 mm") {
  const auto tone = [](const std::string& value, const std::string& unit) {
    Shop shop(in_inches());
    shop.begin();
    return shop.press("micrometer-0", value, unit).tone;
  };
  CHECK(tone("11.1379", "mm") == "part_end");
  CHECK(tone("11.137900001", "mm") == "reject");
  CHECK(tone("11.0871", "mm") == "part_end");
  CHECK(tone("11.087099999", "mm") == "reject");
  CHECK(tone("0.4385", "in") == "part_end");
  CHECK(tone("0.43850001", "in") == "reject");
}

TEST_CASE(
    "a value in millimetres that has no end of digits in inches stays in millimetres, and so do its limits") {
  Shop shop(in_inches());
  shop.begin();
  CHECK(shop.press("micrometer-0", "11.113", "mm").what == "counted");  // 0.43751968... in
  const auto fact = shop.last_fact();
  CHECK(fact.value == "11.113");
  CHECK(fact.unit == "mm");
  CHECK(fact.lower == "11.0871");
  CHECK(fact.upper == "11.1379");
}

TEST_CASE("a one-sided feature: at its maximum accept, beyond it reject") {
  Wanted wanted;
  wanted.features = {"runout"};
  Shop shop(wanted);
  shop.begin();
  shop.act("good");
  CHECK(shop.stream("lever-1", "0.020").tone == "part_end");
  shop.act("good");
  CHECK(shop.stream("lever-1", "0.0204").tone == "reject");
}

TEST_CASE("a value too large for the record's exact count is kept and never counted") {
  Wanted wanted;
  wanted.features = {"bore"};
  Shop shop(wanted);
  shop.press("bore-1", "0.000");
  shop.begin();
  const auto outcome = shop.press("bore-1", "9223372.036");  // the master's size added would overflow
  CHECK(outcome.what != "counted");
  CHECK(shop.facts("result").empty());
}

TEST_CASE("the same inputs twice give the same bytes") {
  const auto run = [] {
    Wanted wanted;
    wanted.features = {"length", "outside", "flange", "burr", "bore"};
    auto shop = std::make_unique<Shop>(wanted);
    shop->press("bore-1", "0.001");
    shop->begin("in process", 5);
    for (const char* value : {"12", "30.2", "30.2"}) shop->press("height-1", value);
    shop->press("micrometer-1", "34.030");
    shop->act("again", "dirt");
    for (int n = 0; n < 6; ++n) {
      shop->press("micrometer-1", "34.031");
      shop->press("micrometer-1", "40.01");
      shop->press("bore-1", "0.003");
      shop->act("good");
    }
    shop->restart();
    shop->display_comes("page-1");
    shop->act("good");
    std::string bytes;
    for (const auto& event : shop->writer.journal())
      bytes += event.content.input + event.content.outcome + event.content.raw;
    return bytes;
  };
  const auto first = run(), second = run();
  CHECK(first.size() > 5000);
  CHECK(first == second);
}
