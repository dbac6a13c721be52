#include "daemon/measure/stamp.hpp"

#include <chrono>
#include <cstdio>

namespace tallystick {

std::int64_t elapsed_ns(const Stamp& earlier, const Stamp& later) {
  if (earlier.boot == later.boot) return later.steady_ns - earlier.steady_ns;
  return (later.utc_us - earlier.utc_us) * 1000;
}

std::string utc_text(std::int64_t utc_us) {
  using namespace std::chrono;
  const sys_time<microseconds> when{microseconds{utc_us}};
  const auto day = floor<days>(when);
  const year_month_day date{day};
  const hh_mm_ss time{when - day};
  char out[48];
  std::snprintf(out, sizeof out, "%04d-%02u-%02uT%02d:%02d:%02d.%06lldZ", static_cast<int>(date.year()),
                static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
                static_cast<int>(time.hours().count()), static_cast<int>(time.minutes().count()),
                static_cast<int>(time.seconds().count()), static_cast<long long>(time.subseconds().count()));
  return out;
}

}  // namespace tallystick
