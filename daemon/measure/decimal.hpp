// Plain decimals and whole counts, both ways. Inside this room only.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"
#include "daemon/measure/whole.hpp"

namespace tallystick::decimal {

/// A plain decimal as it was read: (negative ? - : +) (integer + fraction / 10^places). `integer` is exact up
/// to 10^19 and `too_large` above; `places` counts without trailing zeros and `too_fine` says that they
/// exceed 18.
struct Plain {
  bool negative = false;
  whole::Wide integer = 0;
  whole::Wide fraction = 0;
  int places = 0;
  bool too_large = false;
  bool too_fine = false;
};

/// Errors "empty", "not_a_decimal".
Expected<Plain> read(std::string_view text, char decimal_mark);

/// "-12.5" from -125 and one place; trailing zeros dropped down to `least_decimals`.
std::string write(whole::Wide digits, int places, int least_decimals);

}  // namespace tallystick::decimal
