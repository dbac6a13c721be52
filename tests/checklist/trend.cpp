// Cells that do not go with their neighbours. Invented tables; what a slip of the decimal mark looks like: common practice, no source.
#include <doctest/doctest.h>

#include "daemon/checklist/trend.hpp"

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

std::vector<TrendRow> rows_of(const std::vector<std::string>& cells, const std::string& unit = "mm") {
  std::vector<TrendRow> out;
  for (const auto& text : cells) {
    const auto line = static_cast<int>(out.size()) + 2;
    Cell cell;
    cell.empty = text.empty();
    if (!cell.empty) cell.value = *decimal_from(text);
    out.push_back({line, "FB-" + std::to_string(line), unit, {{"groove_depth", cell}}});
  }
  return out;
}

std::vector<int> lines_of(const std::vector<Fault>& faults) {
  std::vector<int> out;
  for (const auto& fault : faults) out.push_back(fault.line);
  return out;
}

std::vector<int> told(const std::vector<std::string>& cells) { return lines_of(trend_breaks(rows_of(cells), "fb.sizes.csv")); }

}  // namespace

TEST_CASE("trend: a new row between its neighbours is fine, equal ones too") {
  CHECK(told({"0.8", "1.0", "1.2", "1.2", "1.5", "1.8", "2.0"}).empty());
  CHECK(told({"2.0", "1.8", "1.5", "1.2"}).empty());
  CHECK(told({"0.1", "0.1", "0.1", "0.1"}).empty());
}

TEST_CASE("trend: a slip of the decimal mark is told with its line, both ways") {
  CHECK(told({"0.8", "1.0", "1.2", "1.5", "17", "1.8", "2.0"}) == std::vector<int>{6});
  CHECK(told({"0.8", "1.0", "1.2", "1.5", "0.17", "1.8", "2.0"}) == std::vector<int>{6});
  CHECK(told({"0.1", "0.1", "1", "0.1", "0.1"}) == std::vector<int>{4});
}

TEST_CASE("trend: at the ends of the table a step far greater than all others is told") {
  CHECK(told({"0.8", "1.0", "1.2", "1.5", "18"}) == std::vector<int>{6});
  CHECK(told({"0.08", "1.0", "1.2", "1.5", "1.8"}) == std::vector<int>{2});
  CHECK(told({"16", "20", "25", "32", "40", "50", "100"}).empty());
  CHECK(told({"0.1", "0.1", "0.1", "0.1", "1"}) == std::vector<int>{6});
}

TEST_CASE("trend: where there is none, nothing is told") {
  CHECK(told({"3", "1", "4", "1", "5", "9"}).empty());
  CHECK(told({"1", "5", "2"}).empty());                       // too few to tell
  CHECK(told({"1", "", "2", "", "3", "2.5"}).size() <= 2);    // empty cells are no neighbours
}

TEST_CASE("trend: rows of another print unit are not held against these") {
  auto rows = rows_of({"16", "20", "25", "32", "40"});
  for (auto& row : rows_of({"1.0000"}, "in")) {
    row.line = 9;
    rows.push_back(row);
  }
  CHECK(trend_breaks(rows, "fb.sizes.csv").empty());
}

TEST_CASE("trend: the warning names file, line, column, the neighbours and what to do") {
  const auto faults = trend_breaks(rows_of({"0.8", "1.0", "1.5", "17", "1.8"}), "fb.sizes.csv");
  REQUIRE(faults.size() == 1);
  CHECK(faults[0].severity == Severity::warning);
  CHECK(text(faults[0]) ==
        "warning: fb.sizes.csv:5: column groove_depth: 17 at size FB-5 breaks the trend of the column: its neighbours have 1.5 (FB-4) "
        "and 1.8 (FB-6) (hold it against the print; look for a slip of the decimal mark)");
}
