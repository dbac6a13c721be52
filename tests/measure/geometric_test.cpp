// Position, coaxiality, runout, parallelism, perpendicularity; rounding by a method.
#include "daemon/measure/geometric.hpp"

#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <boost/multiprecision/cpp_int.hpp>

#include "daemon/measure/rounding.hpp"

using namespace tallystick;
using namespace tallystick::geometric;

namespace {

Quantity mm(std::string_view text) { return *Quantity::parse(text, Unit()); }
Unit unit(std::string_view name) { return *Unit::named(name); }
std::string rounded_text(std::string_view value, int decimals, JudgingMethod method,
                         std::string_view in = "mm") {
  return rounded(*Quantity::parse(value, unit(in)), unit(in), decimals, method)
      ->text(unit(in), decimals)
      .value();
}

}  // namespace

TEST_CASE("a position is judged by its squares: one picometre over the tolerance is out") {
  // 3, 4, 5: 2 sqrt(0.03^2 + 0.04^2) = 0.1 exactly.
  CHECK(position(mm("0.03"), mm("0.04"), mm("0.1"))->judgement.verdict == Verdict::accept);
  CHECK(position(mm("0.03"), mm("0.040000001"), mm("0.1"))->judgement.verdict == Verdict::reject);
  // Less than half a picometre over: it is shown as the tolerance itself, and the squares still tell.
  const auto above =
      position(Quantity::of_count(100'000'000, Unit()), Quantity::of_count(7'000, Unit()), mm("0.2"));
  CHECK(above->deviation == mm("0.2"));
  CHECK(above->judgement.verdict == Verdict::reject);
}

TEST_CASE("bonus at maximum and at least material, for holes and shafts") {
  const auto limits = *Limits::direct(mm("10"), mm("10.1"));
  const auto bonus = [&](std::string_view actual, bool hole, Material material) {
    const Size size{mm(actual), limits, hole};
    const auto found = position(mm("0"), mm("0"), mm("0.2"), material, &size);
    return found->bonus.text() + (found->size_accepts ? "" : " out");
  };
  CHECK(bonus("10.03", true, Material::maximum) == "0.03");
  CHECK(bonus("10.03", true, Material::least) == "0.07");
  CHECK(bonus("10.03", false, Material::maximum) == "0.07");
  CHECK(bonus("10.03", false, Material::least) == "0.03");
  CHECK(bonus("9.98", true, Material::maximum) == "0 out");    // no negative bonus
  CHECK(bonus("10.3", true, Material::maximum) == "0.1 out");  // and none beyond the size's own tolerance
  CHECK(position(mm("0"), mm("0"), mm("0.2"), Material::maximum).error().code == "missing_field");
  CHECK(position(mm("0"), mm("0"), mm("-0.2")).error().code == "out_of_range");
  CHECK(position(mm("0"), *Quantity::parse("1", unit("deg")), mm("0.2")).error().code == "wrong_unit");
  CHECK(material_named("virtual").error().code == "unknown_word");
}

TEST_CASE("position: mm and inch give the same verdict, and the verdict agrees with exact squares") {
  using Big = boost::multiprecision::cpp_int;
  setenv("RC_PARAMS", "max_success=10000", 0);
  CHECK(rc::check([] {
    const auto count = [] { return *rc::gen::inRange<std::int64_t>(-400'000'000, 400'000'000) / 127 * 127; };
    const auto dx = count(), dy = count();
    // Half of the tolerances lie within a few counts of the deviation.
    const Big square = 4 * (Big(dx) * dx + Big(dy) * dy);
    const auto near = static_cast<std::int64_t>(Big(boost::multiprecision::sqrt(square)));
    const auto tolerance = std::max<std::int64_t>(0, near + *rc::gen::inRange<std::int64_t>(-2, 3));
    const auto expected = square <= Big(tolerance) * tolerance ? Verdict::accept : Verdict::reject;
    for (const char* name : {"mm", "in"}) {
      const auto in = unit(name);
      const auto found =
          position(Quantity::of_count(dx, in), Quantity::of_count(dy, in), Quantity::of_count(tolerance, in));
      RC_ASSERT(found.has_value());
      RC_ASSERT(found->judgement.verdict == expected);
      RC_ASSERT(std::abs(found->deviation.count() - near) <= 1);
    }
  }));
}

TEST_CASE("coaxiality is twice the greatest eccentricity of n sections, and says how many") {
  const std::vector<Offset> sections = {
      {mm("0.003"), mm("0.004")}, {mm("-0.006"), mm("0.008")}, {mm("0"), mm("0")}};
  const auto found = coaxiality(sections, mm("0.02"));
  REQUIRE(found);
  CHECK(found->deviation == mm("0.02"));
  CHECK(found->judgement.verdict == Verdict::accept);
  CHECK(found->worst == 1);
  CHECK(found->sections == 3);
  CHECK(coaxiality(sections, mm("0.019999999"))->judgement.verdict == Verdict::reject);
  CHECK(coaxiality({}, mm("0.02")).error().code == "too_few_points");
  CHECK(concentricity_refused().code == "not_by_hand_gauges");
}

TEST_CASE("runout: the worst section, and over all sections") {
  const std::vector<std::vector<Quantity>> sections = {{mm("0.03"), mm("-0.01"), mm("0")},
                                                       {mm("0.05"), mm("0.06")}};
  const auto found = runout(sections);
  REQUIRE(found);
  // 0.03 - (-0.01) = 0.04: read at a public runout calculator's worked example.
  CHECK(found->circular == mm("0.04"));
  CHECK(found->worst_section == 0);
  CHECK(found->total == mm("0.07"));
  CHECK(runout(std::vector<std::vector<Quantity>>{{mm("1")}}).error().code == "too_few_points");
  CHECK(runout({}).error().code == "too_few_points");
}

TEST_CASE("parallelism and perpendicularity") {
  CHECK(*parallelism(std::vector{mm("31.99"), mm("32.003"), mm("31.995")}) == mm("0.013"));
  CHECK(parallelism(std::vector{mm("1")}).error().code == "too_few_points");
  CHECK(*perpendicularity(mm("0.002"), mm("0.012"), mm("40"), mm("60")) == mm("0.015"));
  CHECK(*perpendicularity(mm("0.012"), mm("0.002"), mm("40"), mm("60")) == mm("0.015"));
  CHECK(perpendicularity(mm("0"), mm("1"), mm("0"), mm("60")).error().code == "out_of_range");
  CHECK(perpendicularity(mm("0"), mm("1"), mm("61"), mm("60")).error().code == "out_of_range");
}

TEST_CASE("rounding by ASTM E29 and ISO 80000-1 Annex B: the standards' own examples (from memory)") {
  // ISO 80000-1:2009, B.3: 12.25 -> 12.2 and 12.35 -> 12.4 by rule A; 12.3 and 12.4 by rule B.
  CHECK(rounded_text("12.25", 1, JudgingMethod::half_even) == "12.2");
  CHECK(rounded_text("12.35", 1, JudgingMethod::half_even) == "12.4");
  CHECK(rounded_text("12.25", 1, JudgingMethod::half_up) == "12.3");
  CHECK(rounded_text("12.35", 1, JudgingMethod::half_up) == "12.4");
  CHECK(rounded_text("-12.25", 1, JudgingMethod::half_up) == "-12.3");
  CHECK(rounded_text("12.223", 1, JudgingMethod::half_even) == "12.2");
  CHECK(rounded_text("12.251", 1, JudgingMethod::half_even) == "12.3");
  CHECK(rounded_text("12.275", 1, JudgingMethod::half_even) == "12.3");
  CHECK(rounded_text("0.00005", 4, JudgingMethod::half_even, "in") == "0.0000");
  CHECK(rounded_text("0.00015", 4, JudgingMethod::half_even, "in") == "0.0002");
  CHECK(rounded(mm("1"), unit("mm"), 10, JudgingMethod::half_even).error().code == "out_of_range");
  CHECK(rounded(mm("1"), unit("mm"), -1, JudgingMethod::half_even).error().code == "out_of_range");
  CHECK(rounded(mm("1"), unit("deg"), 1, JudgingMethod::half_even).error().code == "wrong_unit");
  CHECK(rounded(mm("1.23456"), unit("mm"), 1, JudgingMethod::absolute)->text() == "1.23456");
  CHECK(judging_method_named("half_odd").error().code == "unknown_word");
}

TEST_CASE("a value is judged as observed, unless the edition rounds: both, side by side") {
  const auto limits = *Limits::direct(mm("25.000"), mm("25.021"));
  CHECK(judge(limits, mm("25.0214"), Unit(), 3, JudgingMethod::absolute)->judgement.verdict ==
        Verdict::reject);
  const auto rounding = judge(limits, mm("25.0214"), Unit(), 3, JudgingMethod::half_even);
  CHECK(rounding->judgement.verdict == Verdict::accept);
  CHECK(rounding->used == mm("25.021"));
  CHECK(judge(limits, mm("25.0215"), Unit(), 3, JudgingMethod::half_even)->judgement.verdict ==
        Verdict::reject);
}

TEST_CASE("rounding agrees with exact fractions, in mm and in inches: 10,000 values each") {
  using Rational = boost::multiprecision::cpp_rational;
  CHECK(rc::check([] {
    const auto in = *rc::gen::element(unit("mm"), unit("in"), unit("um"));
    const auto decimals = *rc::gen::inRange(0, in == unit("um") ? 6 : 9);
    const std::int64_t step = scale_of(in).numerator / static_cast<std::int64_t>(std::pow(10, decimals));
    // Ties and their neighbours half of the time.
    const auto count =
        *rc::gen::element<std::int64_t>(0, 1) == 0
            ? *rc::gen::inRange<std::int64_t>(-9'000'000'000'000, 9'000'000'000'000)
            : *rc::gen::inRange<std::int64_t>(-1000, 1000) * step + step / 2 + *rc::gen::inRange(-1, 2);
    for (const auto method : {JudgingMethod::half_even, JudgingMethod::half_up}) {
      const auto found = rounded(Quantity::of_count(count, in), in, decimals, method);
      RC_ASSERT(found.has_value());
      RC_ASSERT(found->count() % step == 0);
      const Rational off = boost::multiprecision::abs(Rational(found->count() - count, step));
      RC_ASSERT(off <= Rational(1, 2));
      if (off == Rational(1, 2)) {
        if (method == JudgingMethod::half_even)
          RC_ASSERT(found->count() / step % 2 == 0);
        else
          RC_ASSERT(std::abs(found->count()) > std::abs(count));
      }
    }
  }));
}

TEST_CASE("what a computation gives to the judge") {
  CHECK(of_millimetres(25.0000004)->text() == "25");
  CHECK(of_millimetres(25.0000006)->text() == "25.000001");
  CHECK(of_millimetres(-0.0125, 3)->text() == "-0.012");
  CHECK(of_millimetres(std::nan("")).error().code == "not_a_number");
  CHECK(of_millimetres(1e12).error().code == "overflow");
  CHECK(in_millimetres(mm("25.4")) == 25.4);
}
