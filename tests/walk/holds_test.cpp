// rules.md, "Holds": soft ones with two ways out (value, size), with one (wrong gauge, unit, zero, ...), and
// hard ones.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

TEST_CASE(
    "plausible reaches five tolerance widths beyond the limits: at its end a reject, one count beyond a "
    "hold") {
  Shop shop;
  shop.begin();
  CHECK(shop.press("height-1", "31.1").tone == "reject");
  Shop other;
  other.begin();
  CHECK(other.press("height-1", "31.100000001").what == "held");
  CHECK(hold_kind(other) == "value");
}

TEST_CASE("hold of value: the next plausible reading of a right gauge ends it by itself") {
  Shop shop;
  shop.begin();
  CHECK(shop.press("height-1", "12.5").what == "held");
  CHECK(hold_kind(shop) == "value");
  CHECK(shop.see("state") == "hold");
  CHECK(shop.see("hold.value") == "12.5");
  CHECK(shop.press("height-1", "30.01").what == "counted");
  CHECK(hold_kind(shop) == "");
  CHECK(shop.facts("result").size() == 1);
  CHECK(shop.last_fact().value == "30.01");
  CHECK_FALSE(shop.last_fact().measured_again);
}

TEST_CASE(
    "hold of value: not good says that it really is so, and the held value counts as it stands, marked "
    "confirmed") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "12.5");
  CHECK(shop.see("actions.not_good.does") == "it_is_so");
  CHECK(shop.did("not_good") == "counted");
  const auto fact = shop.last_fact();
  CHECK(fact.confirmed);
  CHECK(fact.verdict == "reject");  // a confirmed one stands at once
  CHECK(fact.value == "12.5");
  CHECK(fact.gauge == "height-1");
  CHECK(fact.side == "lower");
  CHECK(fact.by == "17.4");
  CHECK(shop.walk_state().part->held);
}

TEST_CASE("a confirmation never accepts: over all values that can be held, what is confirmed is a reject") {
  Wanted wanted;
  // A feature whose plausible range is narrower than its limits: a hold of a value that the limits would
  // accept.
  wanted.change = [](Edition& edition) {
    edition.features[0].plausible_lower = "29.95";
    edition.features[0].plausible_upper = "30.05";
  };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("height-1", "30.09").what == "held");
  const auto answer = shop.act("not_good");
  REQUIRE_FALSE(answer);
  CHECK(answer.error().code == "refused");
  CHECK(shop.facts("result").empty());
  CHECK(hold_kind(shop) == "value");
}

TEST_CASE(
    "hold of value: again means wrong part, all readings of this part are set aside in one event and it "
    "starts anew") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  shop.press("micrometer-1", "25.5");
  CHECK(hold_kind(shop) == "value");
  const auto events = shop.writer.journal().size();
  CHECK(shop.did("again") == "part_anew");
  CHECK(shop.writer.journal().size() == events + 1);
  CHECK(hold_kind(shop) == "");
  CHECK(shop.see("walk.serial") == "1");
  CHECK(shop.see("step.feature") == "length");
  CHECK(shop.walk_state().part->steps[0].attempts.size() == 1);  // still visible
  CHECK(shop.walk_state().part->steps[0].attempts[0].aside);
  const auto correction = shop.last_fact("correction");
  CHECK(correction.feature == "length");
  CHECK(correction.reason == "wrong part");
  shop.good_part();
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.lot().claims.at("final/1").end == "accepted");
}

TEST_CASE(
    "a value that another size of the family would accept is held as a question of size, even where it is "
    "plausible") {
  SUBCASE("not plausible here") {
    Shop shop;
    shop.begin();
    CHECK(shop.press("height-1", "32.003").what == "held");
    CHECK(hold_kind(shop) == "size");
    CHECK(hold_of(shop).fits_size == "fb-25l");
    CHECK(hold_of(shop).fits_lower == "31.9");
    CHECK(shop.press("height-1", "30.0").what == "counted");
  }
  SUBCASE("plausible here") {
    Wanted wanted;
    wanted.change = [](Edition& edition) {
      if (edition.size == "fb-25") edition.features[0].plausible_upper = "35";
    };
    Shop shop(wanted);
    shop.begin();
    CHECK(shop.press("height-1", "32.003").what == "held");
    CHECK(hold_kind(shop) == "size");
    CHECK(shop.did("not_good") == "counted");
    CHECK(shop.last_fact().verdict == "reject");
    CHECK(shop.last_fact().confirmed);
  }
}

TEST_CASE("a value accepted here is accepted, whatever other sizes say of it") {
  Wanted wanted;
  wanted.change = [](Edition& edition) {
    if (edition.size == "fb-25l") edition.features[0].lower = "29";
  };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE("hold of value: another gauge's press is kept and changes nothing") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "12.5");
  CHECK(shop.press("micrometer-1", "34.030").what == "not_counted");
  CHECK(hold_kind(shop) == "value");
  CHECK(shop.see("step.feature") == "length");
}

TEST_CASE(
    "doubt about the unit: a frame without a unit whose value would be plausible after x 25.4 is held") {
  Shop shop;
  shop.begin();
  CHECK(shop.press("height-1", "1.1811", "mm", false).what == "held");
  CHECK(hold_kind(shop) == "unit");
  CHECK(hold_of(shop).would_be == "29.99994");  // 1.1811 x 25.4, the inch of 1959 exactly 25.4 mm
  CHECK(shop.see("actions.not_good") == "");    // one way out: the right reading
  CHECK(shop.press("height-1", "30.0", "mm", false).what == "counted");
}

TEST_CASE(
    "doubt about the unit: a frame that carries its unit is believed, one that does not is doubted the other "
    "way too") {
  Shop shop;
  shop.begin();
  CHECK(shop.press("height-1", "1.1811", "in", true).what == "counted");  // 29.99994 mm
  CHECK(shop.last_fact().value == "29.99994");
  Shop other;
  other.begin();
  CHECK(other.press("height-1", "762", "mm", false).what == "held");
  CHECK(hold_kind(other) == "unit");
  CHECK(hold_of(other).would_be == "30");
}

TEST_CASE("zero where zero is not plausible is held, and only the right reading ends it") {
  Shop shop;
  shop.begin();
  CHECK(shop.press("height-1", "0.000").what == "held");
  CHECK(hold_kind(shop) == "zero");
  CHECK(shop.see("actions.not_good") == "");
  CHECK(shop.see("actions.again.does") == "forget_hold");
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE("wrong gauge: held with the reason, again forgets it, the right one counts") {
  Shop shop;
  shop.begin();
  CHECK(shop.press("micrometer-0", "12.0").what == "held");
  CHECK(hold_kind(shop) == "wrong_gauge");
  CHECK(hold_of(shop).why == "wrong_kind");
  CHECK(shop.did("again") == "forgotten");
  CHECK(shop.see("state") == "step");
  shop.press("height-1", "30.0");
  CHECK(shop.press("micrometer-0", "12.0").what == "held");
  CHECK(hold_of(shop).why == "out_of_range");
  CHECK(shop.press("micrometer-1", "34.030").what == "counted");
  CHECK(hold_kind(shop) == "");
}

TEST_CASE("a gauge that may not be used is held with that reason") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) {
    setup.cards.push_back(card("height-9", "height-gauge", "0", "300"));
    setup.cards.back().may_be_used = false;
    setup.cards.back().why_not = "calibration due";
  };
  Shop shop(wanted);
  shop.begin();
  CHECK(shop.press("height-9", "30.0").what == "held");
  CHECK(hold_kind(shop) == "may_not_be_used");
  CHECK(shop.facts("result").empty());
}

TEST_CASE("a gauge that says over range or error gives no value: held") {
  Shop shop;
  shop.begin();
  shop.clock.advance(3);
  auto reading = shop.reading("height-1", "30.0");
  reading.decoded.status = GaugeStatus::over_range;
  shop.desk->offer(reading);
  shop.settle();
  CHECK(hold_kind(shop) == "status");
  CHECK(shop.facts("result").empty());
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE("a value of another dimension is kept and never compared with a length") {
  Shop shop;
  shop.begin();
  const auto outcome = shop.press("height-1", "30", "deg");
  CHECK(outcome.what == "not_counted");
  CHECK(outcome.why == "wrong_unit");
  CHECK(shop.facts("result").empty());
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

// ---------------------------------------------------------------- hard holds

TEST_CASE(
    "hard hold: no gauge at the bench serves the step and may be used; a second person passes it over") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) {
    std::erase_if(setup.cards, [](const auto& gauge) { return gauge.id == "micrometer-1"; });
  };
  Shop shop(wanted);
  shop.begin();
  shop.press("height-1", "30.0");
  CHECK(shop.see("state") == "hard_hold");
  CHECK(hold_kind(shop) == "no_gauge");
  CHECK(shop.press("height-1", "30.0").what == "not_counted");
  CHECK(shop.refused("act", {{"action", "good"}}) == "not_now");
  CHECK(shop.refused("lift_hold", {{"person", "ada"}, {"reason", "measured elsewhere"}}) == "refused");
  CHECK(shop.refused("lift_hold", {{"person", ""}, {"reason", "measured elsewhere"}}) == "refused");
  shop.done("lift_hold", {{"person", "lead"}, {"reason", "measured elsewhere"}});
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.lot().claims.at("final/1").end == "incomplete");
}

TEST_CASE("hard hold no gauge ends by itself when a gauge that serves comes into the register") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) { setup.cards[0].may_be_used = false; };
  Shop shop(wanted);
  shop.begin();
  CHECK(hold_kind(shop) == "no_gauge");
  auto cards = shop.setup.cards;
  cards[0].may_be_used = true;
  shop.desk->configure(shop.setup.words, cards, shop.setup.candidates);
  shop.settle();
  shop.tick();
  CHECK(hold_kind(shop) == "");
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE("hard hold: the edition was withdrawn; another person lifts it, and the walk keeps its edition") {
  Shop shop;
  shop.begin();
  const auto edition = shop.walk_state().edition;
  shop.done("withdraw", {{"edition", edition}, {"person", "lead"}, {"reason", "wrong limit"}});
  CHECK(hold_kind(shop) == "edition_withdrawn");
  CHECK(shop.press("height-1", "30.0").what == "not_counted");
  CHECK(shop.refused("lift_hold", {{"person", "ada"}, {"reason", "go on"}}) == "refused");
  shop.done("lift_hold", {{"person", "lead"}, {"reason", "finish this part"}});
  CHECK(shop.press("height-1", "30.0").what == "counted");
  CHECK(shop.walk_state().edition == edition);
}

TEST_CASE(
    "an edition withdrawn while the walk waits for something else: lifting goes on where the walk stood") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.next_part = "by_key"; };
  Shop shop(wanted);
  shop.begin();
  shop.good_part();
  CHECK(shop.see("state") == "between_parts");
  shop.done("withdraw",
            {{"edition", shop.walk_state().edition}, {"person", "lead"}, {"reason", "wrong limit"}});
  shop.done("lift_hold", {{"person", "lead"}, {"reason", "finish"}});
  CHECK(shop.see("state") == "between_parts");
}

TEST_CASE(
    "an edition withdrawn while the setup waits for its release: lifting the one does not do away with the "
    "other") {
  Shop shop;
  shop.begin("in process");
  shop.good_part();
  CHECK(hold_kind(shop) == "setup_not_released");
  shop.done("withdraw",
            {{"edition", shop.walk_state().edition}, {"person", "lead"}, {"reason", "wrong limit"}});
  CHECK(hold_kind(shop) == "edition_withdrawn");
  shop.done("lift_hold", {{"person", "lead"}, {"reason", "finish"}});
  CHECK(hold_kind(shop) == "setup_not_released");
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("state") == "step");
}
