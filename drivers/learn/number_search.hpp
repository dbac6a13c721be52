// Where in a text body the number stands that the display showed. Pure.
#pragma once

#include <compare>
#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/learn/heard.hpp"

namespace tallystick::learn {

/// How a number is found in a body: the n-th row of digits (with at most one mark), less some digits at
/// either end.
struct NumberKey {
  char mark = '.';  ///< '.', ',', or 0: no mark is sent
  bool exponent = false;
  std::size_t run = 0, prefix = 0, suffix = 0;
  auto operator<=>(const NumberKey&) const = default;
};

struct NumberPlace {
  std::size_t at = 0, size = 0;  ///< of digits, mark and exponent, without sign
  std::set<int> decimals;        ///< digits behind a mark that is not sent, that would fit
};

/// All ways in which the shown number stands in the body.
std::map<NumberKey, NumberPlace> numbers_in(std::string_view body, const Shown& shown);

/// A decimal moved by places: "1.2345" by 1 is "12.345".
std::string moved(std::string_view digits, int places);

}  // namespace tallystick::learn
