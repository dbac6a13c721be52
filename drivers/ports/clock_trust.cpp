#include "drivers/ports/clock_trust.hpp"

#include <cstdlib>

#include "daemon/measure/stamp.hpp"

namespace tallystick::ports {

std::optional<ClockStep> ClockTrust::sample(std::int64_t utc_us, std::int64_t steady_ns, bool synchronised) {
  std::optional<ClockStep> step;
  if (sampled_) {
    const std::int64_t expected_us = utc_us_ + (steady_ns - steady_ns_) / 1000;
    if (std::llabs(utc_us - expected_us) >= rules_.step_us) step = ClockStep{steady_ns, expected_us, utc_us};
  }
  if (!synchronised && (synchronised_ || !sampled_)) unsynchronised_since_ns_ = steady_ns;
  sampled_ = true;
  utc_us_ = utc_us;
  steady_ns_ = steady_ns;
  synchronised_ = synchronised;
  ever_synchronised_ = ever_synchronised_ || synchronised;
  if (step) stepped_ = step;
  return step;
}

ClockState ClockTrust::state() const {
  if (sampled_ && last_journalled_us_ - utc_us_ > rules_.back_us) {
    return {false, "clock_before_record",
            "the clock says " + utc_text(utc_us_) + ", but the record already holds " +
                utc_text(last_journalled_us_),
            "set the machine's clock; due dates take the later of the two until then"};
  }
  if (rules_.policy == ClockPolicy::own) {
    if (!stepped_) return {};
    return {false, "clock_stepped",
            "the clock was moved by " + std::to_string(stepped_->by_us() / 1000) + " ms to " +
                utc_text(stepped_->utc_after_us),
            "hold it against a watch and confirm it"};
  }
  // A time service steps the clock as its work: what it says of itself is what counts.
  if (!sampled_ || synchronised_) return {};
  if (ever_synchronised_ && steady_ns_ - unsynchronised_since_ns_ <= rules_.unsynchronised_ns) return {};
  return {false, "clock_not_synchronised",
          ever_synchronised_ ? "the kernel has said for too long that its clock is not synchronised"
                             : "the kernel's clock has not been synchronised since this start",
          "start a time service (chrony, systemd-timesyncd), or set clock = \"own\" on a machine without a "
          "network"};
}

}  // namespace tallystick::ports
