// Judging by an edition's rule: the absolute and the rounding method, simple and stringent acceptance.
#include "daemon/measure/judging.hpp"

#include <doctest/doctest.h>

using namespace tallystick;

namespace {

Quantity mm(const char* text) { return *Quantity::parse(text, Unit()); }
Verdict verdict(const Limits& limits, const char* value, const JudgingRule& rule) { return judge(limits, mm(value), rule)->verdict; }

}  // namespace

TEST_CASE("without a rule it is the plain comparison") {
  const auto limits = *Limits::direct(mm("24.98"), mm("25.02"));
  for (const char* value : {"24.979", "24.98", "25", "25.02", "25.021"})
    CHECK(judge(limits, mm(value), JudgingRule{})->verdict == judge(limits, mm(value))->verdict);
}

TEST_CASE("stringent: accepted inside both guard bands, rejected outside both, undecided between") {
  // Numeric example of a guard band (text on ISO 14253-1, its arithmetic recomputed): LSL 10.00, USL 10.10, U 0.02,
  // acceptance 10.02 to 10.08; rejection below 9.98 and above 10.12 (ISO 14253-1:2017, 5.3; clause from memory).
  const auto limits = *Limits::direct(mm("10.00"), mm("10.10"));
  JudgingRule rule;
  rule.decision = DecisionRule::stringent;
  rule.guard = mm("0.02");
  CHECK(verdict(limits, "10.02", rule) == Verdict::accept);
  CHECK(verdict(limits, "10.08", rule) == Verdict::accept);
  CHECK(verdict(limits, "10.019999999", rule) == Verdict::undecided);
  CHECK(verdict(limits, "10.080000001", rule) == Verdict::undecided);
  CHECK(verdict(limits, "9.98", rule) == Verdict::undecided);
  CHECK(verdict(limits, "10.12", rule) == Verdict::undecided);
  CHECK(verdict(limits, "9.979999999", rule) == Verdict::reject);
  CHECK(verdict(limits, "10.120000001", rule) == Verdict::reject);
  CHECK(judge(limits, mm("10.11"), rule)->side == Side::upper);
  CHECK(judge(limits, mm("10.11"), rule)->by == mm("0.01"));   // of the print's limit
  rule.guard = mm("0.06");
  CHECK(judge(limits, mm("10.05"), rule).error().code == "guard_too_wide");
}

TEST_CASE("one limit has one guard band") {
  const auto limits = *Limits::direct({}, mm("0.02"));
  JudgingRule rule;
  rule.decision = DecisionRule::stringent;
  rule.guard = mm("0.003");
  CHECK(verdict(limits, "0.017", rule) == Verdict::accept);
  CHECK(verdict(limits, "0.018", rule) == Verdict::undecided);
  CHECK(verdict(limits, "0.023", rule) == Verdict::undecided);
  CHECK(verdict(limits, "0.0231", rule) == Verdict::reject);
}

TEST_CASE("the rounding method rounds first, to the last place of the limits") {
  const auto limits = *Limits::direct(mm("2.5"), mm("2.6"));
  JudgingRule rule;
  rule.method = JudgingMethod::half_even;
  rule.decimals = 1;
  CHECK(verdict(limits, "2.65", rule) == Verdict::accept);    // a tie, to the even digit: 2.6 (ASTM E29-13, 6.4.3)
  CHECK(verdict(limits, "2.66", rule) == Verdict::reject);
  CHECK(verdict(limits, "2.45", rule) == Verdict::reject);    // 2.4
  rule.method = JudgingMethod::half_up;
  CHECK(verdict(limits, "2.65", rule) == Verdict::reject);    // 2.7 (ISO 80000-1:2009, B.3 rule B)
  CHECK(verdict(limits, "2.45", rule) == Verdict::accept);
}

TEST_CASE("verdicts never turn back as the value moves away from the middle") {
  const auto limits = *Limits::direct(mm("24.980"), mm("25.020"));
  for (const auto method : {JudgingMethod::absolute, JudgingMethod::half_even, JudgingMethod::half_up})
    for (const auto decision : {DecisionRule::simple, DecisionRule::stringent}) {
      JudgingRule rule;
      rule.method = method;
      rule.decimals = 2;
      rule.decision = decision;
      rule.guard = mm("0.004");
      const auto badness = [](Verdict one) { return one == Verdict::accept ? 0 : one == Verdict::undecided ? 1 : 2; };
      int before = 0;
      for (std::int64_t step = 0; step <= 10'000; ++step) {
        const auto value = Quantity::of_count(25'000'000'000 + step * 5'000, Unit());
        const int now = badness(judge(limits, value, rule)->verdict);
        REQUIRE(now >= before);
        before = now;
      }
      CHECK(before == 2);
    }
}
