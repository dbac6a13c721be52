// A cell that does not go with its neighbours: mostly a slip of the decimal mark. Inside this room only.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "daemon/checklist/expression.hpp"
#include "daemon/checklist/fault.hpp"

namespace tallystick::checklist {

/// A row as the trend sees it.
struct TrendRow {
  int line = 0;
  std::string size;
  std::string print_unit;  ///< only rows printed in the same unit are held against each other
  std::map<std::string, Cell> cells;
};

/// Warnings "breaks_trend", one a cell. A column has a trend where, in the table's order, its values only
/// grow or only shrink (equal ones allowed) once a single row is left out, with at least three others. That
/// row is told. At the table's ends, where any value only grows or only shrinks, a step is told that is more
/// than three times as great, as a ratio, as every other one. What remains is for the print: the check
/// changes nothing and refuses nothing.
std::vector<Fault> trend_breaks(const std::vector<TrendRow>& rows, const std::string& file);

}  // namespace tallystick::checklist
