#include <cstdio>

#include "tools/bench/plan.hpp"

namespace tallystick::bench {

std::string press_line(unsigned number) {
  // 7919 is prime to 800,000: every value comes once before the first comes again.
  const unsigned thousandths = 100'000 + number * 7919U % 800'000;
  char line[16];
  std::snprintf(line, sizeof line, "+%03u.%03u\r", thousandths / 1000, thousandths % 1000);
  return line;
}

}  // namespace tallystick::bench
