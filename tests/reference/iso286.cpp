// Every row of the copied tables of ISO 286-1 against daemon/measure/iso286, and the tables against each
// other by the standard's own rules. Sources and licences: the heads of the files in tests/reference/data.
#include "daemon/measure/iso286.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <set>

#include "tests/reference/csv_rows.hpp"

using namespace tallystick;
using namespace tallystick::iso286;

namespace {

Quantity mm(const std::string& text) { return *Quantity::parse(text, Unit()); }
Quantity um(const std::string& text) { return *Quantity::parse(text, *Unit::named("um")); }

/// Sizes that belong to a row: just above its lower end, and its upper end.
std::vector<Quantity> sizes_of(const reference::Row& row) {
  return {*add(mm(row.at("over_mm")), mm("0.000000001")), mm(row.at("to_incl_mm"))};
}

int place_of(const std::string& grade) { return class_from("H" + grade.substr(2))->grade_place; }

/// "<=3", "4-7", ">8", "5-6", "7", "all": the grades from 1 to 18 that a row is for.
std::vector<int> grades_of(const std::string& text) {
  int least = 1, most = 18;
  if (text.starts_with("<=")) {
    most = std::stoi(text.substr(2));
  } else if (text.starts_with(">=")) {
    least = std::stoi(text.substr(2));
  } else if (text.starts_with(">")) {
    least = std::stoi(text.substr(1)) + 1;
  } else if (text != "all") {
    const auto dash = text.find('-');
    least = std::stoi(text);
    most = dash == std::string::npos ? least : std::stoi(text.substr(dash + 1));
  }
  std::vector<int> out;
  for (int grade = least; grade <= most; ++grade) out.push_back(grade);
  return out;
}

bool not_up_to_1_mm(const std::string& letters, int grade) {
  return letters == "a" || letters == "b" || letters == "A" || letters == "B" || grade > 13 ||
         (letters == "N" && grade > 8);
}

}  // namespace

TEST_CASE("ISO 286-1:2010 Table 1: every standard tolerance, at both ends of its step") {
  const auto rows = reference::rows("iso286_it_grades.csv");
  CHECK(rows.size() == 404);
  for (const auto& row : rows) {
    CAPTURE(row.at("over_mm"));
    CAPTURE(row.at("grade"));
    for (const auto size : sizes_of(row)) {
      const auto tolerance = standard_tolerance(size, place_of(row.at("grade")));
      REQUIRE(tolerance);
      CHECK(*tolerance == um(row.at("tolerance_um")));
    }
  }
}

TEST_CASE("ISO 286-1: from IT6 up a grade is ten times the one five finer, but for 8 and 75 at 3 to 6 mm") {
  // Rule as stated with Table 1 (engineersedge.com, formulas of IT grades, quoting ISO 286-1).
  for (const auto& row : reference::rows("iso286_it_grades.csv")) {
    const int place = place_of(row.at("grade"));
    if (place < class_from("H11")->grade_place) continue;
    const auto size = mm(row.at("to_incl_mm"));
    const auto fine = standard_tolerance(size, place - 5)->count(),
               coarse = standard_tolerance(size, place)->count();
    if (size == mm("6") && row.at("grade") == "IT11")
      CHECK((fine == um("8").count() && coarse == um("75").count()));
    else
      CHECK(coarse == 10 * fine);
  }
}

TEST_CASE("ISO 286-1: the formulas of the grades come near the table, never farther than 29 %") {
  // i = 0.45 cbrt(D) + 0.001 D, I = 0.004 D + 2.1, recomputed in the copied file; IT5 and coarser within 16
  // %.
  for (const auto& row : reference::rows("iso286_it_grades.csv")) {
    CAPTURE(row.at("over_mm"));
    CAPTURE(row.at("grade"));
    const double table =
        double(standard_tolerance(mm(row.at("to_incl_mm")), place_of(row.at("grade")))->count()) / 1e6;
    const double formula = std::stod(row.at("formula_value_um"));
    CHECK(std::abs(table / formula - 1) < (place_of(row.at("grade")) >= 6 ? 0.16 : 0.29));
  }
}

TEST_CASE("ISO 286-1:2010 shafts: every fundamental deviation, at both ends of its range, in every grade") {
  int checked = 0;
  for (const auto& row : reference::rows("iso286_shafts.csv")) {
    CAPTURE(row.at("letter"));
    CAPTURE(row.at("over_mm"));
    for (const auto size : sizes_of(row))
      for (const int grade : grades_of(row.at("grades"))) {
        const auto letters = row.at("letter");
        if (size < mm("1") && not_up_to_1_mm(letters, grade)) continue;
        CAPTURE(grade);
        const auto found = deviations(size, *class_from(letters + std::to_string(grade)));
        REQUIRE(found);
        const auto tolerance = standard_tolerance(size, grade + 1)->count();
        CHECK(found->upper.count() - found->lower.count() == tolerance);
        if (letters == "js")
          CHECK(found->upper.count() == -found->lower.count());
        else
          CHECK((row.at("which") == "es" ? found->upper : found->lower) == um(row.at("value_um")));
        ++checked;
      }
  }
  CHECK(checked > 20'000);
}

TEST_CASE("ISO 286-1:2010 holes: every tabulated deviation, its delta added where the table says so") {
  int checked = 0, exceptions = 0, no_delta = 0;
  for (const auto& row : reference::rows("iso286_holes.csv")) {
    const auto letters = row.at("letter");
    CAPTURE(letters);
    CAPTURE(row.at("over_mm"));
    for (const auto size : sizes_of(row))
      for (const int grade : grades_of(row.at("grades"))) {
        if (size < mm("1") && not_up_to_1_mm(letters, grade)) continue;
        CAPTURE(grade);
        const auto found = deviations(size, *class_from(letters + std::to_string(grade)));
        const bool with_delta = row.at("add_delta") == "yes";
        if (with_delta && grade < 3) {  // the table of delta begins at IT3
          CHECK(found.error().code == "not_tabulated");
          ++no_delta;
          continue;
        }
        REQUIRE(found);
        CHECK(found->upper.count() - found->lower.count() == standard_tolerance(size, grade + 1)->count());
        if (letters == "JS") {
          CHECK(found->upper.count() == -found->lower.count());
          continue;
        }
        auto expected = um(row.at("value_um")).count();
        if (with_delta)
          expected += standard_tolerance(size, grade + 1)->count() - standard_tolerance(size, grade)->count();
        if (letters == "M" && grade == 6 && size > mm("250") && size <= mm("315")) {
          expected = um("-9").count();
          ++exceptions;
        }
        CHECK((row.at("which") == "EI" ? found->lower : found->upper).count() == expected);
        ++checked;
      }
  }
  CHECK(checked > 20'000);
  CHECK(exceptions == 4);
  CHECK(no_delta > 0);
}

TEST_CASE("\"Machine Drawing\" Table 15.3: delta is the difference of neighbouring grades") {
  for (const auto& row : reference::rows("iso286_delta.csv")) {
    CAPTURE(row.at("over_mm"));
    CAPTURE(row.at("grade"));
    const auto size = mm(row.at("to_incl_mm"));
    const int place = place_of(row.at("grade"));
    const auto finer = standard_tolerance(size, place - 1)->count();
    const auto delta = size <= mm("3") ? 0 : standard_tolerance(size, place)->count() - finer;
    CHECK(delta == um(row.at("delta_um")).count());
    // R is never exempt: what the hole shows over its mirror is delta.
    if (place > class_from("H7")->grade_place) continue;
    const auto grade = row.at("grade").substr(2);
    const auto hole = deviations(size, *class_from("R" + grade)),
               shaft = deviations(size, *class_from("r" + grade));
    CHECK(hole->upper.count() + shaft->lower.count() == delta);
  }
}

TEST_CASE("worked limits of ISO 286: published examples and the tables' own") {
  const auto rows = reference::rows("iso286_examples.csv");
  CHECK(rows.size() == 36);
  for (const auto& row : rows) {
    CAPTURE(row.at("nominal_mm"));
    CAPTURE(row.at("class"));
    const auto nominal = mm(row.at("nominal_mm"));
    const auto one = class_from(row.at("class"));
    REQUIRE(one);
    const auto found = deviations(nominal, *one);
    REQUIRE(found);
    CHECK(found->upper == um(row.at("upper_dev_um")));
    CHECK(found->lower == um(row.at("lower_dev_um")));
    const auto sizes = limits(nominal, *one);
    CHECK(*sizes->upper == mm(row.at("max_mm")));
    CHECK(*sizes->lower == mm(row.at("min_mm")));
  }
}

TEST_CASE(
    "\"Machine Drawing\" Table 15.4: the formulas of the deviations come near the table in the middle") {
  // d and e within 2.3 %, the widest agreement that the copied file shows; the rest is the table's own
  // rounding.
  int checked = 0;
  for (const auto& row : reference::rows("iso286_deviation_formulas_check.csv")) {
    if (row.at("letter") != "d" && row.at("letter") != "e") continue;
    const auto found = deviations(mm(row.at("to_incl_mm")), *class_from(row.at("letter") + "8"));
    REQUIRE(found);
    CHECK(std::abs(double(found->upper.count()) / 1e6 / std::stod(row.at("formula_um")) - 1) < 0.025);
    ++checked;
  }
  CHECK(checked > 20);
}
