// Nominals, limits and conditions as a checklist writes them: exact rational arithmetic over the columns of a
// size table. Nothing here passes through binary floating point.
//
//   value      decimal, decimal with a unit ("0.1 mm"), column name, ( ), + - * /, min(a, b, ...), max(a, b,
//   ...),
//              round(x, step): to the nearest whole multiple of step, half to even
//   condition  comparisons (= <> < <= > >=) of two values, given(column): the cell is not empty; joined by
//   `and`,
//              `or` (and binds closer), `not`, ( )
//
// Every value has a power of its dimension: a column of lengths has 1, their product 2, a plain number 0. A
// decimal without a unit stands in a sum for itself in the unit of the feature, and is a plain number in a
// product. In a condition it has no feature's unit to take: there it needs its own beside a length.
#pragma once

#include <boost/multiprecision/cpp_int.hpp>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/measure/quantity.hpp"

namespace tallystick::checklist {

using Rational = boost::multiprecision::cpp_rational;

/// A cell as an expression sees it.
struct Cell {
  bool empty = false;        ///< nothing in it: given() is false, any other use an error
  Rational value;            ///< in `unit`, or plain where there is none
  std::optional<Unit> unit;  ///< none: a plain number
};

/// Hands out the cell of a column. Errors: "unknown_column" (with did-you-mean), or what is wrong with the
/// cell.
using Columns = std::function<Expected<Cell>(const std::string& column)>;

class Expression {
 public:
  /// Errors: "expression" with the place in the text and what was expected there.
  static Expected<Expression> value(std::string_view text);
  static Expected<Expression> condition(std::string_view text);

  /// All columns that it names, each once, in order of appearance.
  std::vector<std::string> columns() const;
  /// A decimal without a unit stands in a sum, a comparison, or alone.
  bool has_bare_decimal() const;

  /// The exact value as a Quantity in `unit`. Errors: those of `columns`, "empty_cell", "wrong_unit" (adds
  /// what does not fit, or comes out as an area or a plain number), "division_by_zero", "not_whole" (shows
  /// the fraction and proposes round), "overflow".
  Expected<Quantity> work_out(const Columns& columns, Unit unit) const;
  Expected<bool> holds(const Columns& columns) const;

  struct Node;

 private:
  std::shared_ptr<const Node> root_;
};

/// A plain decimal ("-12.5", digits on both sides of a point) as an exact fraction. Error "not_a_decimal".
Expected<Rational> decimal_from(std::string_view text);
/// A value in `unit` as base counts (2 mm: 2 * 10^9), exact, perhaps no whole number.
Rational counts_of(const Rational& value, Unit unit);

}  // namespace tallystick::checklist
