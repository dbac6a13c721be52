// Every cell of ISO 2768-1:1989 Tables 1 to 3, at both ends of its row. Sources and licences: the heads of
// the files.
#include <doctest/doctest.h>

#include "daemon/measure/general_tolerances.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;

namespace {

Quantity mm(const std::string& text) { return *Quantity::parse(text, Unit()); }

struct Source {
  const char *file, *from, *suffix;
  GeneralKind kind;
  bool first_end_belongs;  ///< "from 0.5" instead of "over"
  int cells;               ///< checked, with two sizes each (one where there is no upper end)
};

}  // namespace

TEST_CASE("ISO 2768-1:1989: linear, broken edges, angles") {
  for (const auto& source :
       {Source{"iso2768_1_linear.csv", "from_mm", "_pm_mm", GeneralKind::linear, true, 64},
        Source{"iso2768_1_radii_chamfers.csv", "from_mm", "_pm_mm", GeneralKind::edge, true, 24},
        Source{"iso2768_1_angular.csv", "shorter_side_over_mm", "_deg_min", GeneralKind::angle, false, 40}}) {
    CAPTURE(source.file);
    int cells = 0;
    for (const auto& row : reference::rows(source.file)) {
      const auto from = mm(row.at(source.from));
      const bool belongs = source.first_end_belongs && from == mm("0.5");
      const auto least = belongs ? from : *add(from, mm("0.000000001"));
      const auto most = row.at("to_incl_mm").empty() ? mm("9000") : mm(row.at("to_incl_mm"));
      for (const char* letter : {"f", "m", "c", "v"})
        for (const auto size : {least, most}) {
          CAPTURE(size.text());
          CAPTURE(letter);
          const auto& cell = row.at(std::string(letter) + source.suffix);
          const auto found = general_tolerance(size, *general_class_named(letter), source.kind);
          ++cells;
          if (cell.empty()) {
            CHECK(found.error().code == "not_tabulated");
            continue;
          }
          REQUIRE(found);
          if (source.kind == GeneralKind::angle) {
            const auto blank = cell.find(' ');
            const auto dms = cell.substr(0, blank) + "d" + cell.substr(blank + 1) + "m";
            CHECK(*found == *Quantity::parse(dms, *Unit::named("dms")));
          } else {
            CHECK(*found == mm(cell));
          }
        }
    }
    CHECK(cells == source.cells);
  }
}
