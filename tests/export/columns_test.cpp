#include <doctest/doctest.h>

#include <fstream>
#include <sstream>

#include "daemon/export/columns.hpp"
#include "tests/export/rfc4180_reader.hpp"

using namespace tallystick;

namespace {

struct Described {
  std::string column, unit, what, example;
};

std::string trimmed(std::string text) {
  const auto strip = [&text](const char* letters) {
    const auto from = text.find_first_not_of(letters);
    if (from == std::string::npos) return std::string();
    return text.substr(from, text.find_last_not_of(letters) - from + 1);
  };
  text = strip(" ");
  return strip("`");
}

// The rows of EXPORT.md's table of columns.
std::vector<Described> registry() {
  std::ifstream file(std::string(TALLYSTICK_SOURCE_DIR) + "/daemon/export/EXPORT.md");
  std::vector<Described> out;
  bool inside = false;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("| column | unit |")) {
      inside = true;
    } else if (inside && !line.starts_with('|')) {
      break;
    } else if (inside && !line.starts_with("|---")) {
      std::vector<std::string> cells;
      std::istringstream parts(line);
      for (std::string cell; std::getline(parts, cell, '|');) cells.push_back(trimmed(cell));
      REQUIRE(cells.size() == 5);
      out.push_back({cells[1], cells[2], cells[3], cells[4]});
    }
  }
  return out;
}

}  // namespace

TEST_CASE("the registry of columns describes every column, in order, with unit and example") {
  const auto rows = registry();
  std::vector<std::string> names{"journal", "seq", "n"};
  for (const auto name : record::fact_column_names()) names.emplace_back(name);
  std::vector<std::string> described;
  for (const auto& row : rows) {
    described.push_back(row.column);
    CAPTURE(row.column);
    CHECK_FALSE(row.unit.empty());
    CHECK_FALSE(row.what.empty());
    CHECK_FALSE(row.example.empty());
  }
  CHECK(described == names);
}

TEST_CASE("flags and counts are what the registry says they are") {
  const auto rows = registry();
  REQUIRE(rows.size() == record::fact_columns + exporting::key_columns);
  for (std::size_t index = 0; index < record::fact_columns; ++index) {
    const auto& row = rows[index + exporting::key_columns];
    CAPTURE(row.column);
    const auto kind = exporting::fact_column_kinds()[index];
    CHECK((row.unit == "flag") == (kind == exporting::ColumnKind::flag));
    CHECK((row.unit == "count") == (kind == exporting::ColumnKind::number));
  }
}

TEST_CASE("the CSV header is the registry's list of columns") {
  const auto records = exporting::test::read_rfc4180(exporting::csv_header());
  REQUIRE(records.size() == 1);
  const auto rows = registry();
  REQUIRE(records[0].size() == rows.size());
  for (std::size_t index = 0; index < rows.size(); ++index) CHECK(records[0][index] == rows[index].column);
}
