// The number in a frame: from its characters to plain decimal text and an exact Quantity. Never rounds, never
// looks at the locale. Pure.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

#include "daemon/measure/quantity.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick::decode {

/// How the gauge writes numbers.
struct NumberForm {
  char mark = '.';           ///< '.' or ','
  int implied_decimals = 0;  ///< "00012345" with 3 means 12.345; then no mark may stand in it
  bool exponent = false;     ///< "1.2345E+1" may come
};

/// Plain decimal ("-0.007"): point as mark, leading zeros and plus sign gone, digits as sent, no negative
/// zero.
struct NumberText {
  static constexpr std::size_t capacity = 44;
  std::array<char, capacity> characters;
  std::uint8_t begin = 0;
  std::uint8_t size = 0;
  std::string_view view() const { return {characters.data() + begin, size}; }
};

/// `plain` and, where it fits, the same as `digits * 10^-decimals`.
struct Number {
  NumberText plain;
  std::int64_t digits = 0;
  int decimals = 0;
  bool fits = false;  ///< false: more than 18 digits, `digits` says nothing
};

/// Reads `value` (with its own sign where `sign` is empty). Refusal `not_a_number`, or `out_of_range` where
/// it has more digits than anything that we can hold. Nothing but digits, one mark, a sign in front and, if
/// declared, an exponent is a number.
std::optional<Refusal> read_number(std::string_view sign, std::string_view value, const NumberForm& form,
                                   Number& out);

/// Turns Numbers into Quantities of one unit: the same values as Quantity::parse, without going through the
/// text where the unit is a plain multiple of its base.
class UnitScale {
 public:
  explicit UnitScale(Unit unit);
  std::optional<Refusal> quantity(const Number& number, Quantity& out) const;
  Unit unit() const { return unit_; }

 private:
  Unit unit_;
  /// Counts of 10^-i of the unit; 0 where that is no whole count (or the unit has an offset).
  std::array<std::int64_t, 19> counts_{};
};

}  // namespace tallystick::decode
