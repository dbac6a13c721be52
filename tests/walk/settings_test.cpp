// rules.md, "A gauge's setting belongs to the gauge": as found, as left, when it is due, and what becomes
// suspect.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

struct Bores : Shop {
  explicit Bores(std::function<void(shop::SettingRule&)> rule = {},
                 std::vector<std::string> features = {"bore"})
      : Shop(wanted(std::move(rule), std::move(features))) {}
  static Wanted wanted(std::function<void(shop::SettingRule&)> rule, std::vector<std::string> features) {
    Wanted out;
    out.features = std::move(features);
    out.change_setup = [rule = std::move(rule)](Setup& setup) {
      if (!rule) return;
      for (auto& gauge : setup.cards)
        if (gauge.id == "bore-1") rule(gauge.setting);
    };
    return out;
  }
  /// A good setting, without a walk.
  void set() { CHECK(press("bore-1", "0.001").tone == "setting_good"); }
  std::string why_due() const {
    const auto dues = at(view(), "settings_due");
    for (const auto& due : dues.as_array())
      if (text_at(due, "gauge") == "bore-1") return text_at(due, "why");
    return "";
  }
};

}  // namespace

TEST_CASE(
    "a gauge with a master has to be set first; it works without an active walk, and difference means master "
    "plus reading") {
  Bores shop;
  CHECK(shop.why_due() == "never_set");
  const auto outcome = shop.press("bore-1", "0.001");  // 25.002 + 0.001, within 0.002
  CHECK(outcome.what == "setting");
  CHECK(outcome.why == "as_found");
  CHECK(shop.see("last.value") == "25.003");
  CHECK(shop.gauge("bore-1").fitness == "fit");
  CHECK(shop.why_due() == "");
  shop.begin();
  CHECK(shop.press("bore-1", "0.005").what == "counted");
  CHECK(shop.last_fact().value == "25.007");
  CHECK(shop.last_fact().master == "ring-25");
}

TEST_CASE("the limit of a setting is inclusive: at it the gauge is good, one count beyond it is not") {
  Bores shop;
  CHECK(shop.press("bore-1", "0.002").tone == "setting_good");
  Bores other;
  CHECK(other.press("bore-1", "0.0020001").tone == "setting_bad");
  Bores lower;
  CHECK(lower.press("bore-1", "-0.002").tone == "setting_good");
}

TEST_CASE("a due setting comes before any step of the walk") {
  Bores shop({}, {"bore", "length"});
  shop.begin();
  CHECK(shop.see("state") == "setting");
  CHECK(shop.see("step.gauge") == "bore-1");
  CHECK(shop.press("height-1", "30.0").what == "held");
  CHECK(hold_kind(shop) == "wrong_gauge");
  CHECK(hold_of(shop).why == "setting_first");
  CHECK(shop.press("bore-1", "0.000").tone == "setting_good");
  CHECK(hold_kind(shop) == "");
  CHECK(shop.see("step.feature") == "length");
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE("a reading on the master before it was asked for on the screen is too early") {
  Bores shop;
  shop.set();
  shop.clock.new_boot();
  shop.tells = false;
  CHECK(shop.press("bore-1", "0.000").what == "too_early");
}

TEST_CASE(
    "as found outside, wiped, outside again: it stands, the gauge may not be used until an as left reading "
    "is good") {
  Bores shop;
  CHECK(shop.press("bore-1", "0.004").tone == "setting_bad");
  CHECK(shop.gauge("bore-1").fitness == "unset");
  CHECK(shop.why_due() != "");
  CHECK(shop.press("bore-1", "0.004").tone == "setting_bad");
  CHECK(shop.gauge("bore-1").fitness == "failed");
  CHECK(shop.why_due() == "failed");
  const auto still_bad = shop.press("bore-1", "0.003");
  CHECK(still_bad.why == "as_left");
  CHECK(shop.gauge("bore-1").fitness == "failed");
  const auto good = shop.press("bore-1", "0.000");
  CHECK(good.why == "as_left");
  CHECK(good.tone == "setting_good");
  CHECK(shop.gauge("bore-1").fitness == "fit");
}

TEST_CASE("as found outside, then inside: a third decides") {
  SUBCASE("inside") {
    Bores shop;
    shop.press("bore-1", "0.004");
    shop.press("bore-1", "0.001");
    CHECK(shop.gauge("bore-1").fitness == "unset");
    shop.press("bore-1", "0.002");
    CHECK(shop.gauge("bore-1").fitness == "fit");
  }
  SUBCASE("outside") {
    Bores shop;
    shop.press("bore-1", "0.004");
    shop.press("bore-1", "0.001");
    shop.press("bore-1", "0.003");
    CHECK(shop.gauge("bore-1").fitness == "failed");
  }
}

TEST_CASE(
    "as found that stands outside makes suspect all results since the last good reading on the master, and "
    "no others") {
  Bores shop([](shop::SettingRule& rule) { rule.parts = 3; }, {"bore", "length"});
  shop.set();
  shop.begin("final", 9);
  const auto part = [&](const char* bore) {
    CHECK(shop.press("height-1", "30.0").what == "counted");
    CHECK(shop.press("bore-1", bore).what == "counted");
  };
  for (const char* bore : {"0.001", "0.002", "0.003"}) part(bore);
  CHECK(shop.see("state") == "setting");
  shop.set();  // good again: the first three are proven good
  CHECK(shop.gauge("bore-1").since_good.empty());
  for (const char* bore : {"0.004", "0.005", "0.006"}) part(bore);
  CHECK(shop.why_due() == "parts");
  shop.press("bore-1", "0.004");
  CHECK(shop.desk->states().suspects.empty());
  shop.press("bore-1", "0.004");  // 25.006 of 25.002 +/- 0.002, twice
  CHECK(shop.gauge("bore-1").fitness == "failed");
  const auto marks = shop.facts("mark");
  REQUIRE(marks.size() == 3);
  std::vector<std::string> serials;
  for (const auto& mark : marks) {
    CHECK(mark.verdict == "suspect");
    CHECK(mark.feature == "bore");  // the lengths are the height gauge's
    CHECK(mark.gauge == "bore-1");
    serials.push_back(mark.serial);
    CHECK(shop.desk->states().suspects.contains(mark.overrules));
  }
  CHECK(serials == std::vector<std::string>{"4", "5", "6"});
  CHECK(shop.see("suspects") == "3");
}

TEST_CASE(
    "suspects reach into walks of other lots, and a failed setting that is repeated marks nothing twice") {
  Bores shop;
  shop.set();
  shop.begin("final", 1);
  shop.press("bore-1", "0.001");
  shop.lot_key.clear();
  shop.open_lot("lot-2", 1);
  shop.begin();
  shop.press("bore-1", "0.002");
  shop.clock.new_boot();  // power: due
  shop.tick();
  shop.press("bore-1", "0.009");
  shop.press("bore-1", "0.009");
  CHECK(shop.facts("mark").size() == 2);
  shop.press("bore-1", "0.009");
  shop.press("bore-1", "0.000");
  CHECK(shop.facts("mark").size() == 2);
  CHECK(shop.desk->states().suspects.size() == 2);
}

TEST_CASE("a suspect result that is measured again is cleared") {
  Bores shop;
  shop.set();
  shop.begin("final", 3);
  shop.press("bore-1", "0.001");
  shop.clock.new_boot();
  shop.tick();
  shop.press("bore-1", "0.009");
  shop.press("bore-1", "0.009");
  REQUIRE(shop.desk->states().suspects.size() == 1);
  shop.press("bore-1", "0.000");
  CHECK(shop.did("again", "suspect") == "retake");
  CHECK(shop.press("bore-1", "0.003").what == "counted");
  CHECK(shop.desk->states().suspects.empty());
  const auto facts = shop.facts();
  bool cleared = false;
  for (const auto& fact : facts) cleared = cleared || (fact.kind == "mark" && fact.verdict == "cleared");
  CHECK(cleared);
  CHECK(shop.last_fact().reason == "suspect");
}

TEST_CASE("due after hours") {
  Bores shop([](shop::SettingRule& rule) { rule.hours = 5; });
  shop.set();
  shop.tick(5 * 3600 - 1.5);
  CHECK(shop.why_due() == "");
  shop.tick(2);
  CHECK(shop.why_due() == "hours");
}

TEST_CASE("due after parts") {
  Bores shop([](shop::SettingRule& rule) { rule.parts = 2; });
  shop.set();
  shop.begin("final", 9);
  shop.press("bore-1", "0.001");
  CHECK(shop.why_due() == "");
  shop.press("bore-1", "0.002");
  CHECK(shop.why_due() == "parts");
  CHECK(shop.see("state") == "setting");
}

TEST_CASE("due after power by default, not after a restart of the daemon in the same boot") {
  Bores shop;
  shop.set();
  shop.restart();
  shop.display_comes("page-1");
  CHECK(shop.why_due() == "");
  shop.restart(true);
  shop.display_comes("page-1");
  CHECK(shop.why_due() == "power");
}

TEST_CASE("void on restart") {
  Bores shop([](shop::SettingRule& rule) { rule.void_on = {"restart"}; });
  shop.set();
  shop.clock.advance(1);
  shop.restart();
  shop.display_comes("page-1");
  CHECK(shop.why_due() == "restart");
}

TEST_CASE("void on person, and only when the person is another") {
  Bores shop([](shop::SettingRule& rule) { rule.void_on = {"person"}; });
  shop.set();
  shop.done("state_person", {{"person", "ada"}});
  CHECK(shop.why_due() == "");
  shop.done("state_person", {{"person", "bo"}});
  CHECK(shop.why_due() == "person");
}

TEST_CASE("void on port") {
  Bores shop([](shop::SettingRule& rule) { rule.void_on = {"port"}; });
  walk::GaugeLine line{"open", "", 1, 1};
  shop.desk->line_changed("bore-1", line);
  shop.set();
  CHECK(shop.why_due() == "");
  line.port_state = "lost";
  line.since_utc_us = 2;
  shop.desk->line_changed("bore-1", line);
  shop.settle();
  CHECK(shop.why_due() == "port");
  CHECK(shop.count("gauge_lost") == 1);
  line.port_state = "open";
  shop.desk->line_changed("bore-1", line);
  shop.settle();
  CHECK(shop.count("gauge_heard") == 1);
  CHECK(shop.why_due() == "port");
}

TEST_CASE("a part that was begun is finished first, but for at most the grace") {
  Bores shop(
      [](shop::SettingRule& rule) {
        rule.hours = 5;
        rule.grace_minutes = 20;
      },
      {"length", "bore"});
  shop.set();
  shop.begin("final", 5);
  shop.press("height-1", "30.0");
  shop.tick(5 * 3600 + 60);  // due for a minute or so
  CHECK(shop.why_due() == "hours");
  CHECK(shop.see("state") == "step");
  SUBCASE("within the grace it counts, and the setting comes before the next part") {
    CHECK(shop.press("bore-1", "0.001").what == "counted");
    CHECK(shop.see("walk.serial") == "2");
    CHECK(shop.see("state") == "setting");
  }
  SUBCASE("after the grace the setting comes first") {
    shop.tick(20 * 60);
    CHECK(shop.see("state") == "setting");
    CHECK(shop.press("bore-1", "0.001").what == "setting");
  }
}

TEST_CASE(
    "the grace ends at its instant, also where nothing has looked since, and another gauge that serves "
    "stands by") {
  Wanted wanted;
  wanted.features = {"length", "bore"};
  wanted.change_setup = [](Setup& setup) {
    auto& gauge = setup.cards[3];
    gauge.setting.hours = 5;
    gauge.setting.grace_minutes = 20;
    auto second = gauge;
    second.id = second.name = "bore-9";
    second.setting.hours = 0;
    setup.cards.push_back(second);
  };
  Shop shop(wanted);
  shop.press("bore-1", "0.000");
  shop.press("bore-9", "0.000");
  shop.begin();
  shop.press("height-1", "30.0");
  shop.clock.advance(5 * 3600 + 20 * 60 + 60);
  // bore-9 serves and is ready, so no setting is asked for: but bore-1 is overdue and makes no result.
  CHECK(shop.press_now("bore-1", "0.001").what == "held");
  CHECK(hold_kind(shop) == "may_not_be_used");
  CHECK(hold_of(shop).why == "setting_due");
  CHECK(shop.facts("result").size() == 1);
  CHECK(shop.press("bore-9", "0.001").what == "counted");
}

TEST_CASE("a new master or another size of it ends a good setting") {
  Bores shop;
  shop.set();
  auto cards = shop.setup.cards;
  cards[3].setting.size = "25.004";
  shop.desk->configure(shop.setup.words, cards, shop.setup.candidates);
  shop.settle();
  CHECK(shop.gauge("bore-1").fitness == "unset");
  CHECK(shop.count("gauge_changed") == 1);
}

TEST_CASE("a gauge that left the configuration stays in the register and may not be used") {
  Shop shop;
  auto cards = shop.setup.cards;
  std::erase_if(cards, [](const auto& gauge) { return gauge.id == "height-1"; });
  shop.desk->configure(shop.setup.words, cards, shop.setup.candidates);
  shop.settle();
  CHECK_FALSE(shop.gauge("height-1").card.may_be_used);
}
