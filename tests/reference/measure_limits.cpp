// Limits and verdicts against published tables and rules; the source stands beside each.
#include <doctest/doctest.h>

#include "daemon/measure/limits.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;

namespace {

Unit unit(std::string_view name) { return Unit::named(name).value(); }
Quantity q(std::string_view text, std::string_view name = "mm") {
  return Quantity::parse(text, unit(name)).value();
}

std::string verdict(const Limits& limits, Quantity value) {
  const auto judgement = judge(limits, value);
  return judgement ? std::string(name(judgement->verdict)) : judgement.error().code;
}

Quantity beyond(Quantity limit, std::int64_t counts) {
  return Quantity::of_count(limit.count() + counts, limit.unit());
}

}  // namespace

// ISO 286-1:2010: limits of size from the nominal and the deviations; the sources of the rows stand in the
// table.
TEST_CASE("limits of size by ISO 286, from deviations in micrometres") {
  const auto table = reference::rows("iso286_examples.csv");
  CHECK(table.size() == 36);
  for (const auto& row : table) {
    CAPTURE(row.at("nominal_mm"));
    CAPTURE(row.at("class"));
    const auto limits = Limits::deviations(q(row.at("nominal_mm")), q(row.at("lower_dev_um"), "um"),
                                           q(row.at("upper_dev_um"), "um"));
    REQUIRE(limits);
    const auto most = q(row.at("max_mm")), least = q(row.at("min_mm"));
    CHECK(limits->upper == most);
    CHECK(limits->lower == least);
    CHECK(limits->upper->text(4) == row.at("max_mm"));
    CHECK(limits->lower->text(4) == row.at("min_mm"));
    // A size at its limit conforms (ISO 286-1 3.2.8: limits of size are the extreme permissible sizes; from
    // memory).
    CHECK(verdict(*limits, most) == "accept");
    CHECK(verdict(*limits, least) == "accept");
    CHECK(verdict(*limits, beyond(most, 1)) == "reject");
    CHECK(verdict(*limits, beyond(least, -1)) == "reject");
    // The same in another unit of the gauge, and a tenth of a micrometre beyond.
    CHECK(verdict(*limits, *most.in(unit("um"))) == "accept");
    CHECK(verdict(*limits, *add(most, q("0.1", "um"))) == "reject");
  }
}

// Simple acceptance, ASME B89.7.3.1-2001 section 2: inside or on the limits is accepted.
TEST_CASE("simple acceptance at, inside and outside the limits") {
  int accepted = 0, rejected = 0;
  for (const auto& row : reference::rows("guard_band_examples.csv")) {
    CAPTURE(row.at("case"));
    CAPTURE(row.at("measured"));
    const auto limits = Limits::direct(row.at("LSL").empty() ? std::nullopt : std::optional(q(row.at("LSL"))),
                                       q(row.at("USL")));
    REQUIRE(limits);
    CHECK(verdict(*limits, q(row.at("measured"))) == row.at("simple_acceptance"));
    ++(row.at("simple_acceptance") == "accept" ? accepted : rejected);
  }
  CHECK(accepted == 15);
  CHECK(rejected == 9);
}

// The absolute method of ASTM E29 (from memory): every digit of the observed value counts, so 0.0204 does not
// meet a maximum of 0.020; its rounding method would round it to 0.020 first.
TEST_CASE("the absolute method") {
  const auto limits = Limits::direct({}, q("0.020")).value();
  CHECK(verdict(limits, q("0.0204")) == "reject");
  CHECK(shown_text(q("0.0204"), Unit(), 3) == "0.02");
  CHECK(verdict(limits, q("0.0200")) == "accept");
}

// IEEE 754-2019 binary64: 0.1 + 0.2 is 0.3000000000000000444..., so a double would reject what lies on the
// limit.
TEST_CASE("binary floating point would reject a value on its limit") {
  const double sum = 0.1 + 0.2;
  CHECK(sum > 0.3);
  CHECK(verdict(Limits::direct({}, q("0.3")).value(), *add(q("0.1"), q("0.2"))) == "accept");
}

// ISO 2768-1:1989 Table 3, angular dimensions: 90 deg with the deviations of each class.
TEST_CASE("angles with general tolerances in degrees and minutes") {
  int judged = 0;
  for (const auto& row : reference::rows("iso2768_1_angular.csv")) {
    for (const char* column : {"f_deg_min", "m_deg_min", "c_deg_min", "v_deg_min"}) {
      const std::string& cell = row.at(column);
      const auto blank = cell.find(' ');
      const int degrees = std::stoi(cell.substr(0, blank));
      const int minutes = std::stoi(cell.substr(blank + 1));
      const auto amount = q(std::to_string(degrees) + "d" + std::to_string(minutes) + "m0s", "dms");
      const auto limits = Limits::plus_minus(q("90", "deg"), amount);
      REQUIRE(limits);
      const int all = 90 * 60 + degrees * 60 + minutes;
      const auto limit = std::to_string(all / 60) + "d" + std::to_string(all % 60) + "m";
      CHECK(verdict(*limits, q(limit + "0s", "dms")) == "accept");
      CHECK(verdict(*limits, q(limit + "0.000000001s", "dms")) == "reject");
      ++judged;
    }
  }
  CHECK(judged == 20);
}

// Common practice, no source: a gauge's step is at most a tenth of the total tolerance, a master's
// uncertainty at most a quarter. The total tolerance is the difference of the limits, exactly.
TEST_CASE("total tolerance and its shares") {
  const auto table = reference::rows("gauge_ratio_examples.csv");
  const auto total = [](const Limits& limits) { return subtract(*limits.upper, *limits.lower).value(); };
  CHECK(total(Limits::plus_minus(q("20"), q("0.05")).value()) == q(table.at(0).at("total_tolerance")));
  CHECK(total(Limits::plus_minus(q("20"), q("0.3")).value()) == q(table.at(1).at("total_tolerance")));
  CHECK(total(Limits::deviations(q("25"), q("-0.020"), q("-0.007")).value()) ==
        q(table.at(2).at("total_tolerance")));
  for (const auto& row : table) {
    CAPTURE(row.at("case"));
    const std::int64_t share = row.at("rule").find("25 %") != std::string::npos ? 4 : 10;
    const auto tolerance = q(row.at("total_tolerance"));
    CHECK(Quantity::of_count(tolerance.count() / share, Unit()) == q(row.at("limit")));
    CHECK(tolerance.count() % share == 0);
  }
}
