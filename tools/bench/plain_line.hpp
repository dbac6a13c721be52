// The floor's own parsing: the least that turns "+025.011" into an exact count of picometres.
#pragma once

#include <charconv>
#include <cstdint>
#include <string_view>

namespace tallystick::bench {

/// `line` without its terminator: sign, digits, point, three digits. False for anything else.
inline bool plain_line(std::string_view line, std::int64_t& picometres) {
  if (line.size() < 6) return false;
  const bool negative = line.front() == '-';
  if (!negative && line.front() != '+') return false;
  const char* end = line.data() + line.size();
  const char* point = end - 4;
  std::int64_t whole = 0, thousandths = 0;
  const auto first = std::from_chars(line.data() + 1, point, whole);
  const auto second = std::from_chars(point + 1, end, thousandths);
  if (first.ec != std::errc() || second.ec != std::errc() || first.ptr != point || second.ptr != end ||
      *point != '.')
    return false;
  picometres = (whole * 1000 + thousandths) * 1'000'000;
  if (negative) picometres = -picometres;
  return true;
}

}  // namespace tallystick::bench
