// A gauge's step against the tolerance: common practice, no source
// (tests/reference/data/gauge_ratio_examples.csv).
#include <doctest/doctest.h>

#include "daemon/shop/gauge_card.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;

namespace {

shop::GaugeCard card(const std::string& step) {
  shop::GaugeCard out;
  out.kind = "outside-micrometer";
  out.bench = "bench-1";
  out.unit = "mm";
  out.resolution = step;
  return out;
}

/// A feature of just this tolerance.
checklist::Feature feature(const std::string& tolerance) {
  checklist::Feature out;
  out.key = "length";
  out.kind = "reading";
  out.gauge_kind = "outside-micrometer";
  out.unit = "mm";
  out.lower = "0";
  out.upper = tolerance;
  return out;
}

}  // namespace

TEST_CASE("common practice, no source: a step of a tenth of the tolerance is the finest that is asked for") {
  int checked = 0;
  for (const auto& row : reference::rows("gauge_ratio_examples.csv")) {
    if (row.at("rule") != "resolution <= 1/10 total tolerance") continue;
    CAPTURE(row.at("case"));
    const auto part = feature(row.at("total_tolerance"));
    CHECK(why_not_served(card(row.at("limit")), part, 10, "bench-1").empty());
    // One count (a picometre) coarser is too coarse: the step is written with one more part in its last
    // place.
    auto coarser = Quantity::parse(row.at("limit"), *Unit::named("mm"));
    REQUIRE(coarser);
    const auto step = Quantity::of_count(coarser->count() + 1, coarser->unit()).text();
    CHECK(why_not_served(card(step), part, 10, "bench-1") == "too_coarse");
    ++checked;
  }
  CHECK(checked >= 3);
}

TEST_CASE("common practice, no source: a fifth of the tolerance is the coarsest that serves") {
  CHECK(why_not_served(card("0.02"), feature("0.1"), 5, "bench-1").empty());
  CHECK(why_not_served(card("0.020000001"), feature("0.1"), 5, "bench-1") == "too_coarse");
}
