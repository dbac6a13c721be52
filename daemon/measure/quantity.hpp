// Exact values. Everything that is judged passes through here and never through binary floating point.
#pragma once

#include <compare>
#include <cstdint>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"

namespace tallystick {

/// What a unit measures. Values of different dimensions (or of different named scalars) never compare.
enum class Dimension : std::uint8_t { length, angle, temperature, temperature_difference, scalar };

/// A unit of the table in units.cpp: mm um nm m in thou uin, deg dms, degC degF, delta-degC delta-degF, and named
/// scalars (N g HRC ...). A value type of one byte; units are only ever made by `Unit::named`.
class Unit {
 public:
  constexpr Unit() = default;  ///< millimetre

  /// Looks a unit up by its exact name. Error "unknown_unit", with the nearest names as the hint.
  static Expected<Unit> named(std::string_view name);

  std::string_view name() const;
  Dimension dimension() const;
  constexpr bool operator==(const Unit&) const = default;
  constexpr std::uint8_t index() const { return index_; }

 private:
  constexpr explicit Unit(std::uint8_t index) : index_(index) {}
  std::uint8_t index_ = 0;
};

/// True where a value in one can be written in the other (same dimension; a named scalar only with itself).
bool convertible(Unit from, Unit to);

/// An exact value: an int64 count of its dimension's base.
/// Length: picometres (1 mm = 10^9, 1 in = 25.4 * 10^9). Angle: nano-arcseconds (1 deg = 3.6 * 10^12).
/// Temperature and temperature difference: microkelvin (Fahrenheit is rounded to it, half to even: the one
/// exception). Scalars: 10^-9 of the named unit, never converted.
class Quantity {
 public:
  constexpr Quantity() = default;  ///< 0 mm

  /// Reads a plain decimal ("-12.5", "+0.4375"; for `dms` "12d30m15.5s" or "12 30 15.5" as documented in text.cpp)
  /// in `unit`. `decimal_mark` is '.' or ','. Refused with an Error, never rounded: exponents, nan, inf, hex,
  /// blanks inside or around, digits outside ASCII, empty, overflow, more digits than the base holds.
  static Expected<Quantity> parse(std::string_view text, Unit unit, char decimal_mark = '.');
  /// From a raw count of the base of `unit`'s dimension.
  static constexpr Quantity of_count(std::int64_t count, Unit unit) { return Quantity(count, unit); }

  constexpr std::int64_t count() const { return count_; }
  /// The unit it was made with: for showing only. Two Quantities of the same count in mm and in are equal.
  constexpr Unit unit() const { return unit_; }
  Dimension dimension() const { return unit_.dimension(); }

  /// Exact decimal text in `unit`, no trailing zeros beyond `least_decimals`, never rounded. Error "not_exact" when
  /// the value has no finite decimal there (11 mm in inches), "wrong_unit" when it cannot be written in it.
  Expected<std::string> text(Unit unit, int least_decimals = 0) const;
  /// In its own unit, which is always exact but for Fahrenheit (six decimals).
  std::string text(int least_decimals = 0) const;
  /// The same number of base counts seen in another convertible unit.
  Expected<Quantity> in(Unit unit) const;

  /// Compares by count. Precondition: convertible units (asserted).
  std::strong_ordering operator<=>(const Quantity& other) const;
  bool operator==(const Quantity& other) const { return (*this <=> other) == 0; }

 private:
  constexpr Quantity(std::int64_t count, Unit unit) : count_(count), unit_(unit) {}
  std::int64_t count_ = 0;
  Unit unit_;
};

/// Exact sum and difference. Errors "wrong_unit", "overflow". A temperature point minus a point is a difference.
Expected<Quantity> add(Quantity a, Quantity b);
Expected<Quantity> subtract(Quantity a, Quantity b);

/// Decimal text of `numerator / denominator` shortened to at most `decimals` places (half to even), for messages
/// such as "would be 29.99994 mm" only; never for judging.
std::string shown_text(Quantity value, Unit unit, int decimals);

}  // namespace tallystick
