// Temperature, uncertainty and decisions against published examples. Sources: beside each, and the heads of
// the files.
#include <doctest/doctest.h>

#include <cmath>

#include "daemon/measure/rounding.hpp"
#include "daemon/measure/temperature.hpp"
#include "daemon/measure/uncertainty.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;

namespace {

Quantity mm(const std::string& text) { return *Quantity::parse(text, Unit()); }

}  // namespace

TEST_CASE("lengths brought to 20 degC: exact ratio (formula of J. Res. NIST 99(1) 31)") {
  int rows = 0;
  for (const auto& row : reference::rows("thermal_examples.csv")) {
    CAPTURE(row.at("case"));
    const auto number = [&](const char* key) { return std::stod(row.at(key)); };
    const auto found =
        at_reference(number("indicated_mm"), {number("alpha_part_1e-6") * 1e-6, number("t_part_C"), 0, 0},
                     {number("alpha_scale_1e-6") * 1e-6, number("t_scale_C"), 0, 0});
    REQUIRE(found);
    CHECK(std::abs(found->millimetres - number("length_at_20C_exact_ratio_mm")) <= 0.5000001e-6);
    // The table's growths are of first order at the indicated length.
    CHECK(std::abs(found->scale_growth * 1000 - number("scale_growth_um")) < 1e-6);
    CHECK(std::abs(found->part_growth * 1000 - number("part_growth_um")) < 0.02);
    CHECK(found->standard_uncertainty == 0);
    ++rows;
  }
  CHECK(rows == 6);
}

TEST_CASE("every coefficient is the one of its source") {
  std::size_t rows = 0;
  for (const auto& row : reference::rows("thermal_expansion.csv")) {
    CAPTURE(row.at("material"));
    const auto found = material_named(row.at("material"));
    REQUIRE(found);
    CHECK(found->micrometres_per_metre_kelvin == std::stod(row.at("alpha_1e-6_per_C")));
    CHECK(found->range == row.at("range"));
    ++rows;
  }
  CHECK(rows == materials().size());
  CHECK(material_named("unobtainium").error().code == "unknown_material");
}

TEST_CASE(
    "the GUM's end-gauge example, JCGM 100:2008 H.1: u 32 nm, 16 degrees of freedom, U99 93 nm (numbers from "
    "memory)") {
  const std::vector<Contribution> lines = {{"standard", 25, Distribution::standard, 1, 18},
                                           {"difference", 9.7, Distribution::standard, 1, 25.6},
                                           {"expansion", 2.9, Distribution::standard, 1, 50},
                                           {"temperature", 16.6, Distribution::standard, 1, 2}};
  const auto found = budget(lines, 0.99);
  REQUIRE(found);
  CHECK(std::round(found->combined) == 32);
  CHECK(std::floor(found->freedom) == 16);
  CHECK(std::abs(found->coverage_factor - 2.92) < 0.005);
  CHECK(std::abs(found->expanded - 93) < 1);
  double shares = 0;
  for (const auto& line : found->lines) shares += line.share;
  CHECK(std::abs(shares - 1) < 1e-12);
}

TEST_CASE("Student's t, JCGM 100:2008 Table G.2 (from memory): 95.45 % and 99 %") {
  const auto factor = [](double freedom, double probability) {
    const std::vector<Contribution> one = {{"only", 1, Distribution::standard, 1, freedom}};
    return budget(one, probability)->coverage_factor;
  };
  for (const auto& [freedom, at_95_45, at_99] : {std::tuple{1.0, 13.97, 63.66},
                                                 {2.0, 4.53, 9.92},
                                                 {5.0, 2.65, 4.03},
                                                 {10.0, 2.28, 3.17},
                                                 {20.0, 2.13, 2.85},
                                                 {50.0, 2.05, 2.68}}) {
    CAPTURE(freedom);
    CHECK(std::abs(factor(freedom, 0.9545) - at_95_45) < 0.0051);
    CHECK(std::abs(factor(freedom, 0.99) - at_99) < 0.0051);
  }
  CHECK(std::abs(factor(std::numeric_limits<double>::infinity(), 0.9545) - 2.000) < 0.0005);
}

TEST_CASE("distributions: half widths over the square roots that JCGM 100:2008 4.3.7 and 4.3.9 give") {
  const auto u = [](Distribution distribution) {
    return budget(std::vector<Contribution>{{"one", 6, distribution}})->combined;
  };
  CHECK(u(Distribution::rectangular) == doctest::Approx(6 / std::sqrt(3.0)));
  CHECK(u(Distribution::triangular) == doctest::Approx(6 / std::sqrt(6.0)));
  CHECK(u(Distribution::arcsine) == doctest::Approx(6 / std::sqrt(2.0)));
  CHECK(u(Distribution::normal_k2) == 3);
  CHECK(budget({}).error().code == "no_readings");
  CHECK(budget(std::vector<Contribution>{{"one", -1}}).error().code == "out_of_range");
  CHECK(budget(std::vector<Contribution>{{"one", 1, Distribution::standard, 1, 0}}).error().where == "one");
  CHECK(budget(std::vector<Contribution>{{"one", 1}}, 1).error().code == "out_of_range");
}

TEST_CASE("guard bands: proof of conformity and simple acceptance (terms of ASME B89.7.3.1-2001)") {
  int rows = 0;
  for (const auto& row : reference::rows("guard_band_examples.csv")) {
    CAPTURE(row.at("case") + " " + row.at("measured"));
    std::optional<Quantity> lower, upper;
    if (!row.at("LSL").empty()) lower = mm(row.at("LSL"));
    if (!row.at("USL").empty()) upper = mm(row.at("USL"));
    const auto limits = *Limits::direct(lower, upper);
    const auto guard = mm(row.at("U"));
    const auto value = mm(row.at("measured"));
    const double u = in_millimetres(guard) / 2;
    const auto strict = decide_with_uncertainty(limits, value, u, 2, DecisionRule::stringent, guard);
    const auto simple = decide_with_uncertainty(limits, value, u, 2, DecisionRule::simple, guard);
    REQUIRE(strict);
    REQUIRE(simple);
    const auto& expected = row.at("proof_of_conformity_rule");
    CHECK(strict->verdict == (expected == "conformity proved"       ? Verdict::accept
                              : expected == "non-conformity proved" ? Verdict::reject
                                                                    : Verdict::undecided));
    CHECK(simple->verdict == (row.at("simple_acceptance") == "accept" ? Verdict::accept : Verdict::reject));
    if (lower) CHECK(strict->acceptance.lower == mm(row.at("accept_from")));
    if (upper) CHECK(strict->acceptance.upper == mm(row.at("accept_to")));
    // What is proved with U = 2 u carries at most the tail beyond two standard deviations, 2.275 % (both
    // tails of a narrow zone: 4.55 %).
    if (strict->verdict == Verdict::accept) CHECK(strict->risk < 0.0456);
    if (strict->verdict == Verdict::reject) CHECK(strict->risk < 0.0228);
    ++rows;
  }
  CHECK(rows == 24);
}

TEST_CASE("probability of conformance: the normal distribution's own table (one-sided 1.645 u: 95 %)") {
  const auto limits = *Limits::direct({}, mm("0.05"));
  const auto found = decide_with_uncertainty(limits, mm("0.043420"), 0.004, 2, DecisionRule::simple, mm("0"));
  REQUIRE(found);
  CHECK(std::abs(found->conformance - 0.95) < 1e-4);
  CHECK(decide_with_uncertainty(limits, mm("0.04"), 0, 2, DecisionRule::simple, mm("0"))->conformance == 1);
  CHECK(decide_with_uncertainty(limits, mm("0.05"), 0, 2, DecisionRule::simple, mm("0"))->conformance == 1);
  CHECK(decide_with_uncertainty(limits, mm("0.06"), 0, 2, DecisionRule::simple, mm("0"))->conformance == 0);
  const auto narrow = *Limits::direct(mm("1"), mm("1.001"));
  CHECK(
      decide_with_uncertainty(narrow, mm("1"), 0.001, 2, DecisionRule::stringent, mm("0.002")).error().code ==
      "guard_too_wide");
  CHECK(decide_with_uncertainty(narrow, mm("1"), -1, 2, DecisionRule::simple, mm("0")).error().code ==
        "out_of_range");
}

TEST_CASE("what cannot be brought to 20 degC is refused, with the member that is wrong") {
  const Warm steel{11.5e-6, 21, 1e-6, 0.2};
  CHECK(at_reference(100, steel, {11.5e-6, 45, 0, 0}).error().where == "scale");
  CHECK(at_reference(100, {11.5e-6, 5, 0, 0}, steel).error().where == "part");
  CHECK(at_reference(0, steel, steel).error().code == "out_of_range");
  CHECK(at_reference(100, {std::nan(""), 20, 0, 0}, steel).error().code == "not_a_number");
  // JCGM 100, 5.1.2 by hand: 100 mm, 1 K, 1e-6 / K and 0.2 K at 11.5e-6: sqrt(0.1^2 + 0.23^2) um for each of
  // the two.
  const auto found = at_reference(100, steel, steel);
  CHECK(found->standard_uncertainty * 1000 == doctest::Approx(std::sqrt(2 * (0.01 + 0.0529))).epsilon(1e-4));
}
