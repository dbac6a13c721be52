// Units: which there are, what they measure, and how many base counts they hold.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick {

/// What a unit measures. Values of different dimensions (or of different named scalars) never compare.
enum class Dimension : std::uint8_t { length, angle, temperature, temperature_difference, scalar };

/// A unit of the table in units.cpp: mm um nm m in thou uin, deg dms, degC degF, delta-degC delta-degF, and
/// named scalars (N g HRC ...). A value type of one byte; units are only ever made by `Unit::named`.
class Unit {
 public:
  constexpr Unit() = default;  ///< millimetre

  /// Looks a unit up by its exact name. Error "unknown_unit", with the nearest names as the hint.
  static Expected<Unit> named(std::string_view name);
  /// Every unit, in the table's order.
  static std::vector<Unit> all();

  std::string_view name() const;
  Dimension dimension() const;
  constexpr bool operator==(const Unit&) const = default;
  constexpr std::uint8_t index() const { return index_; }

  /// The count of which every value with finitely many decimals in this unit is a multiple: 127 picometres
  /// for inches, 9 nano-arcseconds for decimal degrees, else 1.
  constexpr std::int64_t step() const {
    if (index_ >= first_inch && index_ <= last_inch) return 127;
    return index_ == decimal_degree ? 9 : 1;
  }
  /// The unit of the same dimension that writes every count exactly: mm for inches, dms for decimal degrees,
  /// else the unit itself.
  constexpr Unit home() const {
    if (index_ >= first_inch && index_ <= last_inch) return Unit();
    return index_ == decimal_degree ? Unit(decimal_degree + 1) : *this;
  }

 private:
  // Places in the table of units.cpp, which asserts them.
  static constexpr std::uint8_t first_inch = 4;
  static constexpr std::uint8_t last_inch = 6;
  static constexpr std::uint8_t decimal_degree = 7;

  constexpr explicit Unit(std::uint8_t index) : index_(index) {}
  std::uint8_t index_ = 0;
};

/// True where a value in one can be written in the other (same dimension; a named scalar only with itself).
bool convertible(Unit from, Unit to);

/// The unit of a difference of two values in `unit`: delta-degC for degC, delta-degF for degF, else `unit`
/// itself.
Unit difference_unit(Unit unit);

/// count = zero + value * numerator / denominator. The division is by 1 but for Fahrenheit, `zero` is 0 but
/// for temperature points.
struct Scale {
  std::int64_t numerator = 1;
  std::int64_t denominator = 1;
  std::int64_t zero_numerator = 0;  ///< the count of a value of 0, times `denominator`
};
Scale scale_of(Unit unit);

}  // namespace tallystick
