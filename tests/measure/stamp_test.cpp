// Times as text, and intervals within and across boots.
#include <doctest/doctest.h>

#include "daemon/measure/stamp.hpp"

using namespace tallystick;

// Seconds since 1970 as POSIX.1-2017 4.16 counts them; the dates were worked out with GNU date.
TEST_CASE("UTC as text") {
  CHECK(utc_text(0) == "1970-01-01T00:00:00.000000Z");
  CHECK(utc_text(951'782'400'000'000) == "2000-02-29T00:00:00.000000Z");
  CHECK(utc_text(1'795'591'865'123'456) == "2026-11-25T07:31:05.123456Z");
  CHECK(utc_text(4'107'542'399'999'999) == "2100-02-28T23:59:59.999999Z");
  CHECK(utc_text(4'107'542'400'000'000) == "2100-03-01T00:00:00.000000Z");  // 2100 is no leap year
  CHECK(utc_text(-1) == "1969-12-31T23:59:59.999999Z");
}

TEST_CASE("intervals: steady time within a boot, UTC across boots") {
  const Stamp first{1'000'000, 5'000, "a", "trusted"};
  const Stamp stepped{900'000, 7'000, "a", "trusted"};  // UTC went back, the interval did not
  CHECK(elapsed_ns(first, stepped) == 2'000);
  const Stamp rebooted{3'000'000, 10, "b", "trusted"};
  CHECK(elapsed_ns(first, rebooted) == 2'000'000'000);
  CHECK(elapsed_ns(rebooted, first) == -2'000'000'000);
}
