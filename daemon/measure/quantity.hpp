// Exact values. Everything that is judged passes through here and never through binary floating point.
#pragma once

#include <compare>
#include <cstdint>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"
#include "daemon/measure/unit.hpp"

namespace tallystick {

/// An exact value: an int64 count of its dimension's base.
/// Length: picometres (1 mm = 10^9, 1 in = 25.4 * 10^9). Angle: nano-arcseconds (1 deg = 3.6 * 10^12).
/// Temperature (above absolute zero) and temperature difference: microkelvin (Fahrenheit is rounded to it,
/// half to even, and written with at most five decimals, which it keeps: the one exception). Scalars: 10^-9
/// of the named unit, never converted. Invariant: its own unit can write it with finitely many decimals.
class Quantity {
 public:
  constexpr Quantity() = default;  ///< 0 mm

  /// Reads a plain decimal in `unit`: an optional sign, digits, optionally `decimal_mark` ('.' or ',') and
  /// digits;
  /// ".4375" is one, "5." is not. In `dms`: "12d30m15.5s", "-0d5m0s", "12d30m", "12d" (degrees, then minutes
  /// and seconds below 60; only seconds have decimals). Refused with an Error, never rounded: "empty",
  /// "not_a_decimal" (exponents, nan, inf, hex, blanks inside or around, digits outside ASCII, ...),
  /// "too_many_digits" (more than the base holds), "overflow", "below_absolute_zero".
  static Expected<Quantity> parse(std::string_view text, Unit unit, char decimal_mark = '.');
  /// From a raw count of the base of `unit`'s dimension. The count is kept whatever it is; where `unit` has
  /// no finite decimal for it (a mean in inches), the quantity's own unit is `unit.home()` (mm) instead.
  static constexpr Quantity of_count(std::int64_t count, Unit unit) {
    return Quantity(count, count % unit.step() == 0 ? unit : unit.home());
  }

  constexpr std::int64_t count() const { return count_; }
  /// The unit it was made with: for showing only. Two Quantities of the same count in mm and in are equal.
  constexpr Unit unit() const { return unit_; }
  Dimension dimension() const { return unit_.dimension(); }

  /// Exact decimal text in `unit`, no trailing zeros beyond `least_decimals`, never rounded. Error
  /// "not_exact" when the value has no finite decimal there (11 mm in inches), "wrong_unit" when it cannot be
  /// written in it.
  Expected<std::string> text(Unit unit, int least_decimals = 0) const;
  /// In its own unit, which is always exact but for Fahrenheit (five decimals).
  std::string text(int least_decimals = 0) const;
  /// The same number of base counts seen in another convertible unit. Errors "wrong_unit", "not_exact".
  Expected<Quantity> in(Unit unit) const;

  /// Compares by count. Precondition: convertible units (asserted; without assertions, unlike units order by
  /// the table and are never equal).
  std::strong_ordering operator<=>(const Quantity& other) const;
  bool operator==(const Quantity& other) const { return (*this <=> other) == 0; }

 private:
  constexpr Quantity(std::int64_t count, Unit unit) : count_(count), unit_(unit) {}
  std::int64_t count_ = 0;
  Unit unit_;
};

/// Exact sum and difference, in the unit of `a` where that can write it. Errors "wrong_unit", "overflow".
/// A temperature point minus a point is a difference; a point plus or minus a difference is a point.
Expected<Quantity> add(Quantity a, Quantity b);
Expected<Quantity> subtract(Quantity a, Quantity b);

/// `numerator / denominator` of `unit` as the nearest count, half to even: only where a rounding is declared.
/// Error "overflow". Precondition: denominator > 0.
Expected<Quantity> nearest(std::int64_t numerator, std::int64_t denominator, Unit unit);

/// Exact text for a person or a record: in `preferred` where the value has a finite decimal there, else in
/// its own unit (11.113 mm against a print in inches stays 11.113 mm).
struct Written {
  std::string text;
  Unit unit;
};
Written written(Quantity value, Unit preferred, int least_decimals = 0);

/// Decimal text of `value` in `unit` shortened to at most `decimals` places (half to even), for messages
/// such as "would be 29.99994 mm" only; never for judging. Precondition: convertible; 0 <= decimals <= 18.
std::string shown_text(Quantity value, Unit unit, int decimals);

}  // namespace tallystick
