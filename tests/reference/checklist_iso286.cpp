// The demo family's fits against ISO 286: bore H7, outside p6, bolt holes H13, for every size that is printed
// in mm.
#include <doctest/doctest.h>

#include <algorithm>
#include <fstream>
#include <iterator>

#include "daemon/checklist/family.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

Expected<std::string> demo_file(const std::string& name) {
  std::ifstream file(std::string(TALLYSTICK_SOURCE_DIR) + "/config/demo/" + name, std::ios::binary);
  if (!file) return fail("cannot_read", name);
  return std::string{std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

Family demo_family() {
  std::vector<Fault> faults;
  auto family = read_family(*demo_file("fb.family.toml"), "fb.family.toml", demo_file, faults);
  for (const auto& fault : faults) FAIL_CHECK(text(fault));
  return family;
}

/// The row whose interval (over, up to and including) holds the nominal.
const reference::Row& row_for(const std::vector<reference::Row>& rows, double nominal_mm,
                              const std::string& column, const std::string& value) {
  const auto found = std::find_if(rows.begin(), rows.end(), [&](const auto& row) {
    return row.at(column) == value && std::stod(row.at("over_mm")) < nominal_mm &&
           nominal_mm <= std::stod(row.at("to_incl_mm"));
  });
  REQUIRE(found != rows.end());
  return *found;
}

Quantity micrometres(const std::string& text) { return *Quantity::parse(text, *Unit::named("um")); }

const Feature* feature_of(const Edition& edition, const std::string& key) {
  const auto found = std::find_if(edition.features.begin(), edition.features.end(),
                                  [&](const Feature& one) { return one.key == key; });
  return found == edition.features.end() ? nullptr : &*found;
}

struct Table {
  std::vector<reference::Row> grades = reference::rows("iso286_it_grades.csv"),
                              shafts = reference::rows("iso286_shafts.csv");

  Limits hole_h(Quantity nominal, double nominal_mm, const std::string& grade) const {
    const auto width = micrometres(row_for(grades, nominal_mm, "grade", grade).at("tolerance_um"));
    return *Limits::deviations(nominal, micrometres("0"), width);  // H: the fundamental deviation EI is zero
  }
  Limits shaft_p(Quantity nominal, double nominal_mm, const std::string& grade) const {
    const auto lower = micrometres(row_for(shafts, nominal_mm, "letter", "p").at("value_um"));
    const auto width = micrometres(row_for(grades, nominal_mm, "grade", grade).at("tolerance_um"));
    return *Limits::deviations(nominal, lower, *add(lower, width));
  }
};

}  // namespace

TEST_CASE("ISO 286-1:2010 tables: bore H7, outside p6 and bolt holes H13 of the demo sizes") {
  const Table table;
  int checked = 0;
  for (const auto& size : demo_family().sizes) {
    CAPTURE(size.edition.size);
    for (const auto& [key, grade] :
         {std::pair{"bore", "IT7"}, std::pair{"outside-diameter", "IT6"}, std::pair{"bolt-hole-1", "IT13"}}) {
      const auto* feature = feature_of(size.edition, key);
      if (feature == nullptr || feature->unit != "mm") continue;
      CAPTURE(key);
      const auto limits = limits_of(*feature);
      REQUIRE(limits);
      const double nominal_mm = std::stod(feature->nominal);
      const bool shaft = std::string(key) == "outside-diameter";
      const auto expected = shaft ? table.shaft_p(*limits->nominal, nominal_mm, grade)
                                  : table.hole_h(*limits->nominal, nominal_mm, grade);
      CHECK(*limits->lower == *expected.lower);
      CHECK(*limits->upper == *expected.upper);
      ++checked;
    }
  }
  CHECK(checked == 20);  // 7 sizes in mm, FB-16 without bolt holes
}

TEST_CASE("the demo family has the values that its story tells") {
  const auto family = demo_family();
  CHECK(family.sizes.size() == 8);
  const auto edition = [&](const std::string& name) -> const Edition& {
    const auto found = std::find_if(family.sizes.begin(), family.sizes.end(),
                                    [&](const auto& one) { return one.edition.size == name; });
    REQUIRE(found != family.sizes.end());
    return found->edition;
  };
  const auto limits = [&](const std::string& size, const std::string& key) {
    const auto* feature = feature_of(edition(size), key);
    REQUIRE(feature != nullptr);
    return feature->lower + ".." + feature->upper + " " + feature->unit;
  };
  CHECK(limits("FB-25", "bore") == "25.000..25.021 mm");
  CHECK(limits("FB-25", "outside-diameter") == "32.026..32.042 mm");
  CHECK(limits("FB-25", "length") == "29.90..30.10 mm");
  CHECK(limits("FB-25L", "length") == "31.90..32.10 mm");
  CHECK(limits("FB-25", "runout-face") == "..0.020 mm");
  CHECK(limits("FB-100", "bore") == "1.0000..1.0008 in");
  CHECK(feature_of(edition("FB-25"), "length")->balloon == "3");
  const auto& features = edition("FB-25").features;
  const auto measured = std::count_if(features.begin(), features.end(),
                                      [](const Feature& one) { return one.kind == "reading"; });
  CHECK(measured >= 12);
}
