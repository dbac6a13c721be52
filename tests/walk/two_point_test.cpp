// A gauge set on two masters: each judged within its limit, the gain that they show judged and kept, no
// reading changed by it; and a master's own calibration in the sum. Gauges and masters invented.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

/// Bore gauge that reads differences, set on a ring of 25.002 and one of 25.402.
struct Two : Shop {
  explicit Two(std::function<void(shop::SettingRule&)> rule = {}) : Shop(wanted(std::move(rule))) {}
  static Wanted wanted(std::function<void(shop::SettingRule&)> rule) {
    Wanted out;
    out.features = {"bore"};
    out.change_setup = [rule = std::move(rule)](Setup& setup) {
      for (auto& gauge : setup.cards)
        if (gauge.id == "bore-1") {
          gauge.setting.master_2 = "ring-25-wide";
          gauge.setting.size_2 = "25.402";
          gauge.setting.limit_2 = "0.003";
          if (rule) rule(gauge.setting);
        }
    };
    return out;
  }
  std::string due(const char* member = "why") const {
    const auto dues = at(view(), "settings_due");
    for (const auto& each : dues.as_array())
      if (text_at(each, "gauge") == "bore-1") return text_at(each, member);
    return "";
  }
  std::string state() const { return gauge("bore-1").fitness; }
};

}  // namespace

TEST_CASE(
    "two masters are asked for in turn, each judged within its own limit; zero and gain are kept and shown") {
  Two shop;
  CHECK(shop.due("master") == "ring-25");
  CHECK(shop.due("point") == "1");
  CHECK(shop.due("points") == "2");
  const auto first = shop.press("bore-1", "0.001");
  CHECK(first.what == "setting");
  CHECK(first.tone == "setting_good");
  CHECK(shop.state() == "unset");  // half is none
  CHECK(shop.due() == "never_set");
  CHECK(shop.due("master") == "ring-25-wide");
  CHECK(shop.due("point") == "2");
  CHECK(shop.see("last.zero") == "0.001");
  CHECK(shop.see("last.gain") == "");
  // 25.002 + 0.403 = 25.405 on 25.402: 0.003 off, on the limit.
  CHECK(shop.press("bore-1", "0.403").tone == "setting_good");
  CHECK(shop.state() == "fit");
  CHECK(shop.due() == "");
  CHECK(shop.see("last.gain") == "1.005");  // 0.402 read of 0.400
  CHECK(shop.gauge("bore-1").gain == "1.005");
  CHECK(shop.gauge("bore-1").zero == "0.001");
  const auto event = shop.newest("reading");
  CHECK(event.gauges.at("bore-1").gain == "1.005");
  CHECK(event.gauges.at("bore-1").zero == "0.001");
}

TEST_CASE("no reading is changed by the gain: it is judged and shown, nothing else") {
  Two shop;
  shop.press("bore-1", "0.000");
  shop.press("bore-1", "0.402");
  shop.begin();
  shop.press("bore-1", "0.010");
  CHECK(shop.last_fact().value == "25.012");
}

TEST_CASE("a gain beyond its limit fails the setting although each master reads within its own") {
  const auto limit = [](shop::SettingRule& rule) { rule.gain_limit = "0.005"; };
  Two good(limit);
  good.press("bore-1", "0.001");
  CHECK(good.press("bore-1", "0.403").tone == "setting_good");  // 1.005: on the limit is inside
  CHECK(good.state() == "fit");
  Two bad(limit);
  bad.press("bore-1", "-0.001");
  const auto outcome = bad.press("bore-1", "0.402");  // 0.403 of 0.400
  CHECK(outcome.tone == "setting_bad");
  CHECK(bad.see("last.gain") == "1.0075");
  CHECK(bad.state() == "unset");
  CHECK(bad.press("bore-1", "0.402").tone == "setting_bad");
  CHECK(bad.state() == "failed");
  CHECK(bad.due("point") == "1");  // adjusted, it begins again at the first
  CHECK(bad.press("bore-1", "0.000").tone == "setting_good");
  CHECK(bad.state() == "failed");
  CHECK(bad.press("bore-1", "0.400").tone == "setting_good");
  CHECK(bad.state() == "fit");
}

TEST_CASE(
    "the second point outside twice: it stands, and the results since the last good setting are suspect") {
  Two shop;
  shop.press("bore-1", "0.000");
  shop.press("bore-1", "0.400");
  shop.begin("final", 2);
  shop.press("bore-1", "0.003");
  shop.clock.new_boot();
  shop.tick();
  CHECK(shop.due() == "power");
  CHECK(shop.press("bore-1", "0.000").tone == "setting_good");
  CHECK(shop.due("master") == "ring-25-wide");
  CHECK(shop.press("bore-1", "0.410").tone == "setting_bad");
  CHECK(shop.desk->states().suspects.empty());
  CHECK(shop.press("bore-1", "0.410").tone == "setting_bad");
  CHECK(shop.desk->states().suspects.size() == 1);
  CHECK(shop.state() == "failed");
}

TEST_CASE("an accept after a reject asks for a third on the same master, of either point") {
  Two shop;
  shop.press("bore-1", "0.005");
  shop.press("bore-1", "0.000");
  CHECK(shop.due("point") == "1");
  shop.press("bore-1", "0.000");
  CHECK(shop.due("point") == "2");
  shop.press("bore-1", "0.410");
  shop.press("bore-1", "0.400");
  CHECK(shop.state() == "unset");
  shop.press("bore-1", "0.400");
  CHECK(shop.state() == "fit");
}

TEST_CASE("half a setting does not outlive a start") {
  Two shop;
  shop.press("bore-1", "0.000");
  CHECK(shop.due("point") == "2");
  shop.restart();
  shop.display_comes("page-1");
  CHECK(shop.due("point") == "1");
}

TEST_CASE("the second reading before its master was asked for on the screen is too early") {
  Two shop;
  shop.press("bore-1", "0.000");
  shop.clock.advance(1);
  CHECK(shop.press_now("bore-1", "0.400").what == "setting");
  Two other;
  other.press("bore-1", "0.000");
  CHECK(other.press_now("bore-1", "0.400").what == "too_early");
}

// Published numbers: learn.adafruit.com, "Calibrating Sensors", page "Two Point Calibration" (read November
// 2026): a thermometer reads -0.5 at 0.01 and 96.0 at 100; raw range 96.5, reference range 99.99. Taken here
// as millimetres. Gain, as the quotient of the change of the indication and the change of the value: JCGM
// 200:2012, 4.12 (sensitivity).
TEST_CASE("a published two-point calibration comes to the same zero and gain") {
  Wanted wanted;
  wanted.features = {"length"};
  wanted.change_setup = [](Setup& setup) {
    auto& gauge = setup.cards[0];
    gauge.range_lower = "-10";
    gauge.setting.master = "low";
    gauge.setting.size = "0.01";
    gauge.setting.limit = "10";
    gauge.setting.master_2 = "high";
    gauge.setting.size_2 = "100";
    gauge.setting.limit_2 = "10";
  };
  Shop shop(wanted);
  shop.press("height-1", "-0.5");
  shop.press("height-1", "96.0");
  CHECK(shop.gauge("height-1").zero == "-0.51");
  CHECK(shop.gauge("height-1").gain == "0.96509651");  // 96.5 / 99.99, to 1e-9
}

TEST_CASE("a master's calibrated deviation and its uncertainty are in the sum that judges the setting") {
  // The ring is marked 25.0024 and was found 0.0004 smaller: its own size is 25.002; U 0.0006 of a limit of
  // 0.002.
  const auto sure = [](shop::SettingRule& rule) {
    rule.master_2.clear();
    rule.uncertainty = "0.0006";
  };
  Two shop(sure);
  CHECK(shop.due("uncertainty") == "0.0006");
  CHECK(shop.press("bore-1", "0.0014").tone == "setting_good");  // on the narrowed limit
  CHECK(shop.see("last.upper") == "25.0034");
  Two other(sure);
  CHECK(other.press("bore-1", "0.0014001").tone == "setting_bad");
  Two lower(sure);
  CHECK(lower.press("bore-1", "-0.0014001").tone == "setting_bad");
}

TEST_CASE("a master whose calibration is overdue sets nothing, and on its due day it still does") {
  // The rig's clock begins on 24 November 2026 (1,795,500,000 s).
  Two shop([](shop::SettingRule& rule) { rule.due = "2026-11-23"; });
  CHECK(shop.due("master_overdue") == "2026-11-23");
  const auto outcome = shop.press("bore-1", "0.000");
  CHECK(outcome.what == "not_counted");
  CHECK(outcome.why == "master_due");
  CHECK(shop.state() == "unset");
  CHECK(shop.see("last.why") == "master_due");
  Two today([](shop::SettingRule& rule) { rule.due = "2026-11-24"; });
  CHECK(today.due("master_overdue") == "");
  CHECK(today.press("bore-1", "0.000").tone == "setting_good");
  Two second([](shop::SettingRule& rule) { rule.due_2 = "2026-11-23"; });
  CHECK(second.press("bore-1", "0.000").tone == "setting_good");
  CHECK(second.press("bore-1", "0.400").why == "master_due");
  CHECK(second.state() == "unset");
}
