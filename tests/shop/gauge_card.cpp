#include "daemon/shop/gauge_card.hpp"

#include <doctest/doctest.h>

using namespace tallystick;
using checklist::Feature;
using shop::GaugeCard;

namespace {

GaugeCard micrometer() {
  GaugeCard out;
  out.id = "micrometer-25-50";
  out.kind = "outside-micrometer";
  out.bench = "bench-1";
  out.unit = "mm";
  out.range_lower = "25";
  out.range_upper = "50";
  out.resolution = "0.001";
  return out;
}

Feature diameter() {
  Feature out;
  out.key = "outside-diameter";
  out.kind = "reading";
  out.unit = "mm";
  out.nominal = "32";
  out.lower = "32.026";
  out.upper = "32.042";
  out.plausible_lower = "31.9";
  out.plausible_upper = "32.2";
  out.gauge_kind = "outside-micrometer";
  return out;
}

std::string why(const GaugeCard& card, const Feature& feature) {
  return why_not_served(card, feature, 5, "bench-1");
}

}  // namespace

TEST_CASE("a gauge that fits serves; each thing that does not fit is named") {
  CHECK(why(micrometer(), diameter()).empty());
  auto card = micrometer();
  card.kind = "caliper";
  CHECK(why(card, diameter()) == "wrong_kind");
  card = micrometer();
  card.range_lower = "32.030";
  CHECK(why(card, diameter()) == "out_of_range");
  card = micrometer();
  card.range_upper = "32.041";
  CHECK(why(card, diameter()) == "out_of_range");
  card = micrometer();
  card.range_upper = "32.042";  // the limit itself is in the range
  CHECK(why(card, diameter()).empty());
  card = micrometer();
  card.unit = "deg";
  CHECK(why(card, diameter()) == "wrong_unit");
  card = micrometer();
  card.bench = "bench-2";
  CHECK(why(card, diameter()) == "other_bench");
  card = micrometer();
  card.may_be_used = false;
  CHECK(why(card, diameter()) == "may_not_be_used");
}

TEST_CASE("a gauge's step is at most the stated part of the tolerance, exactly") {
  auto card = micrometer();
  card.resolution = "0.0032";  // a fifth of 0.016
  CHECK(why(card, diameter()).empty());
  card.resolution = "0.003200001";
  CHECK(why(card, diameter()) == "too_coarse");
  card.resolution = "0.001";
  CHECK(why_not_served(card, diameter(), 16, "bench-1").empty());
  CHECK(why_not_served(card, diameter(), 17, "bench-1") == "too_coarse");
}

TEST_CASE("a one-sided feature's step is held against the way to its plausible end") {
  auto feature = diameter();
  feature.nominal = feature.lower = "";
  feature.upper = "32.000";
  feature.plausible_lower = "31.995";
  auto card = micrometer();
  card.resolution = "0.001";
  CHECK(why(card, feature).empty());
  card.resolution = "0.0011";
  CHECK(why(card, feature) == "too_coarse");
}

TEST_CASE(
    "inches serve a print in millimetres; millimetres no print in inches, unless the gauge can be switched") {
  auto card = micrometer();
  card.unit = "in";
  card.range_lower = "1";
  card.range_upper = "2";
  card.resolution = "0.0001";
  CHECK(why(card, diameter()).empty());
  auto inch = diameter();
  inch.unit = "in";
  inch.nominal = "1.25";
  inch.lower = "1.2511";
  inch.upper = "1.2517";
  inch.plausible_lower = "1.24";
  inch.plausible_upper = "1.26";
  CHECK(why(micrometer(), inch) == "wrong_unit");  // 31.78 mm has no end of digits in inches
  card = micrometer();
  card.also_units = {"in"};
  CHECK(why(card, inch).empty());
}

TEST_CASE("a gauge that reads differences needs its master within its range, exact in the print's unit") {
  auto card = micrometer();
  card.reads = "difference";
  CHECK(why(card, diameter()) == "wrong_unit");  // no master, no size
  card.setting.master = "ring-32";
  card.setting.size = "32.001";
  CHECK(why(card, diameter()).empty());
  card.setting.size = "51";
  CHECK(why(card, diameter()) == "out_of_range");
}

TEST_CASE("only a stream is captured, and a stream is never read") {
  auto feature = diameter();
  feature.kind = "capture";
  CHECK(why(micrometer(), feature) == "wrong_kind");
  auto card = micrometer();
  card.speaks = "streams";
  CHECK(why(card, feature).empty());
  CHECK(why(card, diameter()) == "wrong_kind");
}

TEST_CASE("what is not measured is served by no gauge") {
  Feature look;
  look.kind = "look";
  CHECK(why(micrometer(), look) == "wrong_kind");
}
