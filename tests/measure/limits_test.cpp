// Limits as prints state them, and verdicts against them.
#include <doctest/doctest.h>

#include "daemon/measure/limits.hpp"

using namespace tallystick;

namespace {

Unit unit(std::string_view name) { return Unit::named(name).value(); }
Quantity q(std::string_view text, std::string_view name = "mm") {
  return Quantity::parse(text, unit(name)).value();
}

std::string said(const Expected<Judgement>& judgement) {
  if (!judgement) return judgement.error().code;
  return std::string(name(judgement->verdict)) + " " + std::string(name(judgement->side)) + " " +
         judgement->by.text() + " " + std::string(judgement->by.unit().name());
}

}  // namespace

TEST_CASE("a value on a limit is inside, one count beyond is outside") {
  const auto limits = Limits::direct(q("25.000"), q("25.021")).value();
  CHECK(said(judge(limits, q("25.021"))) == "accept upper 0 mm");
  CHECK(said(judge(limits, q("25.0210001"))) == "reject upper 0.0000001 mm");
  CHECK(said(judge(limits, q("25.021000001"))) == "reject upper 0.000000001 mm");
  CHECK(said(judge(limits, q("25.000"))) == "accept lower 0 mm");
  CHECK(said(judge(limits, q("24.999999999"))) == "reject lower 0.000000001 mm");
  CHECK(said(judge(limits, q("25.010"))) == "accept lower 0.01 mm");
  CHECK(said(judge(limits, q("25.011"))) == "accept upper 0.01 mm");
  CHECK(said(judge(limits, q("25.0105"))) == "accept upper 0.0105 mm");  // the upper on a tie
}

TEST_CASE("a maximum of 0.020 rejects 0.0204, whatever is shown") {
  const auto limits = Limits::direct({}, q("0.020")).value();
  CHECK(said(judge(limits, q("0.0204"))) == "reject upper 0.0004 mm");
  CHECK(said(judge(limits, q("0.020"))) == "accept upper 0 mm");
  CHECK(said(judge(limits, q("-5"))) == "accept upper 5.02 mm");
  CHECK(said(judge(Limits::direct(q("0.8"), {}).value(), q("0.7999"))) == "reject lower 0.0001 mm");
}

TEST_CASE("0.1 + 0.2 lies on a limit of 0.3") {
  const auto limits = Limits::plus_minus(q("0.2"), q("0.1")).value();
  CHECK(said(judge(limits, *add(q("0.1"), q("0.2")))) == "accept upper 0 mm");
  CHECK(said(judge(limits, q("0.1"))) == "accept lower 0 mm");
  CHECK(0.2 + 0.1 > 0.3);  // what a double would have said
  // 1.1 + 2.2 = 3.3, ten times 0.1 = 1, and 4.35 * 100 = 435: further traps of binary fractions.
  CHECK(*add(q("1.1"), q("2.2")) == q("3.3"));
  Quantity sum;
  for (int i = 0; i < 10; ++i) sum = add(sum, q("0.1")).value();
  CHECK(sum == q("1"));
  CHECK(q("4.35", "m") == q("4350"));
}

TEST_CASE("both sides in inches") {
  const auto limits = Limits::direct(q("0.4370", "in"), q("0.4375", "in"), q("0.4375", "in")).value();
  CHECK(said(judge(limits, q("0.4375", "in"))) == "accept upper 0 in");
  CHECK(said(judge(limits, q("0.4370", "in"))) == "accept lower 0 in");
  CHECK(said(judge(limits, q("0.43750001", "in"))) == "reject upper 0.00000001 in");
  CHECK(said(judge(limits, q("0.43699999", "in"))) == "reject lower 0.00000001 in");
  CHECK(said(judge(limits, q("11.1125"))) == "accept upper 0 in");
  CHECK(said(judge(limits, q("11.112500001"))) == "reject upper 0.000000001 mm");  // 1 pm is no finite inch
  CHECK(said(judge(limits, q("437.5", "thou"))) == "accept upper 0 in");
  CHECK(said(judge(limits, q("11.0998"))) == "accept lower 0 in");
  CHECK(said(judge(limits, q("11.099799999"))) == "reject lower 0.000000001 mm");
}

TEST_CASE("the ways in which a print states limits") {
  CHECK(Limits::plus_minus(q("25"), q("0.05")).value() ==
        Limits::direct(q("24.95"), q("25.05"), q("25")).value());
  CHECK(Limits::deviations(q("25"), q("-20", "um"), q("-7", "um")).value().upper == q("24.993"));
  CHECK(Limits::deviations(q("25"), q("-20", "um"), q("-7", "um")).value().lower == q("24.980"));
  CHECK(Limits::deviations(q("25"), q("0"), q("0.021")).value() ==
        Limits::direct(q("25"), q("25.021"), q("25")).value());
  CHECK(Limits::plus_minus(q("30", "degC"), q("2", "delta-degC")).value().lower == q("28", "degC"));
  CHECK(Limits::plus_minus(q("45", "deg"), q("0d30m", "dms")).value().upper == q("45.5", "deg"));
}

TEST_CASE("limits that cannot be") {
  CHECK(Limits::direct({}, {}).error().code == "no_limit");
  CHECK(Limits::direct(q("2"), q("1")).error().code == "limits_crossed");
  CHECK(Limits::direct(q("1"), q("1"))->upper == q("1"));
  CHECK(Limits::direct(q("1"), q("2"), q("2.1")).error().code == "nominal_outside");
  CHECK(Limits::direct(q("1"), q("2"), q("0.9")).error().code == "nominal_outside");
  CHECK(Limits::direct({}, q("2"), q("0"))->nominal == q("0"));
  CHECK(Limits::direct(q("1"), q("2", "N")).error().code == "wrong_unit");
  CHECK(Limits::direct(q("1"), q("2"), q("1", "deg")).error().code == "wrong_unit");
  CHECK(Limits::plus_minus(q("1"), q("-0.1")).error().code == "limits_crossed");
  CHECK(Limits::plus_minus(q("1"), q("0.1", "deg")).error().code == "wrong_unit");
  CHECK(Limits::plus_minus(q("20", "degC"), q("1", "degC")).error().code == "wrong_unit");
  CHECK(Limits::deviations(q("1"), q("0.1"), q("-0.1")).error().code == "limits_crossed");
  CHECK(Limits::plus_minus(Quantity::of_count(INT64_MAX, Unit()), q("1")).error().code == "overflow");
}

TEST_CASE("what cannot be judged") {
  const auto limits = Limits::direct(q("1"), q("2")).value();
  CHECK(said(judge(limits, q("1.5", "N"))) == "wrong_unit");
  CHECK(said(judge(limits, q("1.5", "deg"))) == "wrong_unit");
  CHECK(said(judge(Limits{}, q("1.5"))) == "no_limit");
  const auto most = Quantity::of_count(INT64_MAX, Unit());
  CHECK(said(judge(Limits::direct(most, {}).value(), Quantity::of_count(-1, Unit()))) == "overflow");
}

TEST_CASE("temperatures are judged as points, with the amount as a difference") {
  const auto limits = Limits::direct(q("19", "degC"), q("21", "degC")).value();
  CHECK(said(judge(limits, q("68", "degF"))) == "accept upper 1 delta-degC");
  CHECK(said(judge(limits, q("21.000001", "degC"))) == "reject upper 0.000001 delta-degC");
}
