// Time, stamped once at the edge and handed along. No room below the edge reads a clock.
#pragma once

#include <cstdint>
#include <string>

namespace tallystick {

/// Both clocks at one instant. Within one boot intervals come from `steady_ns`, across boots from `utc_us`.
/// Order never comes from a Stamp: it comes from the journal's sequence.
struct Stamp {
  std::int64_t utc_us = 0;     ///< microseconds since 1970-01-01T00:00:00Z
  std::int64_t steady_ns = 0;  ///< CLOCK_BOOTTIME nanoseconds, meaningful only together with `boot`
  std::string boot;            ///< the kernel's boot id (32 hex digits)
  std::string clock = "trusted";  ///< "trusted" | "untrusted": what the daemon thought of UTC then

  bool operator==(const Stamp&) const = default;
};

/// Nanoseconds from `earlier` to `later`; negative when the clock went back between boots.
std::int64_t elapsed_ns(const Stamp& earlier, const Stamp& later);

/// "2026-11-25T07:31:05.123456Z": always six digits and Z, so that text order is time order.
std::string utc_text(std::int64_t utc_us);

}  // namespace tallystick
