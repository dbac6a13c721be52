// Whole numbers wide enough that no step of exact arithmetic can overflow. Inside this room only.
#pragma once

#include <cstdint>
#include <limits>

namespace tallystick::whole {

__extension__ typedef __int128 Wide;

inline constexpr int most_places = 18;  ///< of `power_of_ten`

/// 10^places. Precondition: 0 <= places <= most_places.
constexpr Wide power_of_ten(int places) {
  Wide power = 1;
  for (int i = 0; i < places; ++i) power *= 10;
  return power;
}

/// The nearest whole number to `numerator / denominator`, half to even. Precondition: denominator > 0.
constexpr Wide divide_half_even(Wide numerator, Wide denominator) {
  Wide quotient = numerator / denominator;
  Wide rest = numerator % denominator;
  if (rest < 0) {
    rest += denominator;
    quotient -= 1;
  }
  const Wide twice = 2 * rest;
  return twice > denominator || (twice == denominator && quotient % 2 != 0) ? quotient + 1 : quotient;
}

/// Counts are kept symmetric: the least int64 is not one, so that a sign can always be turned.
constexpr bool fits(Wide count) {
  constexpr Wide most = std::numeric_limits<std::int64_t>::max();
  return count <= most && count >= -most;
}

constexpr std::int64_t narrow(Wide count) { return static_cast<std::int64_t>(count); }

}  // namespace tallystick::whole
