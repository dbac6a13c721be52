#include "daemon/shop/held_against.hpp"

#include <doctest/doctest.h>

using namespace tallystick;
using namespace tallystick::shop;
using checklist::Family;
using checklist::Feature;
using checklist::Severity;

namespace {

Feature measured(const std::string& key, const std::string& kind, const std::string& lower,
                 const std::string& upper, const std::string& plausible_lower,
                 const std::string& plausible_upper) {
  Feature out;
  out.key = key;
  out.kind = "reading";
  out.unit = "mm";
  out.gauge_kind = kind;
  out.lower = lower;
  out.upper = upper;
  out.plausible_lower = plausible_lower;
  out.plausible_upper = plausible_upper;
  return out;
}

Family family(std::vector<std::vector<Feature>> sizes) {
  Family out;
  out.file = "pin.family.toml";
  out.table_file = "pin.csv";
  for (auto& features : sizes) {
    checklist::WorkedSize size;
    size.row_line = static_cast<int>(out.sizes.size()) + 2;
    size.edition.size = "P-" + std::to_string(size.row_line);
    for (std::size_t i = 0; i < features.size(); ++i)
      size.feature_lines.push_back(static_cast<int>(10 * i + 10));
    size.edition.features = std::move(features);
    out.sizes.push_back(std::move(size));
  }
  return out;
}

GaugeCard gauge(const std::string& id, const std::string& kind) {
  GaugeCard out;
  out.id = id;
  out.kind = kind;
  out.bench = "bench-1";
  out.dialect = "line";
  out.unit = "mm";
  out.range_lower = "0";
  out.range_upper = "100";
  out.resolution = "0.001";
  return out;
}

std::string places(const Family& family, const std::vector<GaugeCard>& gauges, bool unit_in_frame = false) {
  std::string out;
  for (const auto& fault : hold_against(family, gauges, {{"line", unit_in_frame}}))
    out += (out.empty() ? "" : "; ") + fault.file + ":" + std::to_string(fault.line) + " " + fault.code +
           (fault.severity == Severity::warning ? " (warning)" : "");
  return out;
}

const Feature length = measured("length", "height-gauge", "29.9", "30.1", "28.9", "31.1");
const Feature runout = measured("runout", "height-gauge", "", "0.020", "0", "0.3");

}  // namespace

TEST_CASE("a gauge kind that nobody registered is told with the kind that it may mean") {
  const auto faults = hold_against(family({{length}}), {gauge("h", "hight-gauge")}, {});
  REQUIRE(faults.size() == 1);
  CHECK(faults[0].code == "no_gauge_of_kind");
  CHECK(faults[0].line == 10);
  CHECK(faults[0].remedy == "did you mean \"hight-gauge\"?");
}

TEST_CASE("a size that no gauge reaches is told at its row, all sizes at the feature") {
  auto long_part = length;
  long_part.lower = "129.9";
  long_part.upper = "130.1";
  CHECK(places(family({{length}, {long_part}}), {gauge("h", "height-gauge")}) == "pin.csv:3 no_gauge_serves");
  CHECK(places(family({{long_part}, {long_part}}), {gauge("h", "height-gauge")}) ==
        "pin.family.toml:10 no_gauge_serves");
}

TEST_CASE("coarser than a tenth is a warning, coarser than a fifth a fault") {
  auto card = gauge("h", "height-gauge");
  card.resolution = "0.02";
  CHECK(places(family({{length}}), {card}).empty());
  card.resolution = "0.021";
  CHECK(places(family({{length}}), {card}) == "pin.family.toml:10 coarse_gauge (warning)");
  card.resolution = "0.041";
  CHECK(places(family({{length}}), {card}) == "pin.family.toml:10 gauge_too_coarse");
  // A fine one beside it serves: the coarse one is then no fault.
  CHECK(places(family({{length}}), {card, gauge("fine", "height-gauge")}).empty());
}

TEST_CASE("near zero a frame without a unit deceives, unless something else tells the unit") {
  auto card = gauge("h", "height-gauge");
  CHECK(places(family({{length}}), {card}).empty());  // 30 mm set to inches shows 1.18: implausible
  CHECK(places(family({{runout}}), {card}) == "pin.family.toml:10 unit_unseen");
  CHECK(places(family({{runout}}), {card}, true).empty());
  card.unit_fixed = true;
  CHECK(places(family({{runout}}), {card}).empty());
  card.unit_fixed = false;
  card.setting.master = "block-25";
  CHECK(places(family({{runout}}), {card}).empty());
}

TEST_CASE("a gauge that reads differences deceives at any size: its master does not show the unit") {
  auto card = gauge("h", "height-gauge");
  card.reads = "difference";
  card.setting.master = "block-30";
  card.setting.size = "30.000";
  CHECK(places(family({{length}}), {card}) == "pin.family.toml:10 unit_unseen");
  CHECK(places(family({{length}}), {card}, true).empty());
}

TEST_CASE("a gauge that may not be used today does not make the checklist faulty") {
  auto card = gauge("h", "height-gauge");
  card.may_be_used = false;
  CHECK(places(family({{length}}), {card}).empty());
}

TEST_CASE("a plug that nobody registered cannot be stated") {
  Feature thread;
  thread.key = "thread";
  thread.kind = "go_no_go";
  thread.tool = "thread-plug-m6";
  const std::vector<std::string> kinds = {"thread-plug-m8"};
  const auto faults = hold_against(family({{thread}, {length}}), {gauge("h", "height-gauge")}, {}, &kinds);
  REQUIRE(faults.size() == 1);
  CHECK(faults[0].code == "no_tool_of_kind");
  CHECK(faults[0].remedy == "did you mean \"thread-plug-m8\"?");
  CHECK(hold_against(family({{thread}}), {}, {}, nullptr).empty());
}
