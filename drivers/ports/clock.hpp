// The one place that reads clocks. Everything else is handed Stamps.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "daemon/measure/stamp.hpp"
#include "drivers/ports/clock_trust.hpp"

namespace boost::asio {
class io_context;
}

namespace tallystick::ports {

/// The seam: so that tests can hold a clock that moves only when told.
class Clock {
 public:
  virtual ~Clock() = default;
  virtual Stamp now() = 0;
};

/// CLOCK_REALTIME (microseconds), CLOCK_BOOTTIME (nanoseconds, runs through suspend) and the kernel's boot
/// id, read together: the pair is taken again when the thread was interrupted between the two. Not
/// thread-safe. Steps are found at every reading of the clock, and at once through `watch`.
class SystemClock : public Clock {
 public:
  using Stepped = std::function<void(const ClockStep&, const Stamp&)>;

  SystemClock(ClockTrust::Rules rules, std::int64_t last_journalled_utc_us, Stepped stepped = {});
  ~SystemClock() override;

  Stamp now() override;
  ClockState state() const { return trust_.state(); }
  void journalled(std::int64_t utc_us) { trust_.journalled(utc_us); }
  void confirmed() { trust_.confirmed(); }

  /// Tells of a step within milliseconds, without any polling: a timer that the kernel cancels when the clock
  /// is set.
  void watch(boost::asio::io_context& loop);
  void unwatch();

 private:
  struct Watch;
  Stamp sample();
  ClockTrust trust_;
  Stepped stepped_;
  std::string boot_;
  std::int64_t asked_kernel_at_ns_ = 0;
  bool synchronised_ = false;
  std::shared_ptr<Watch> watch_;
};

/// What adjtimex says: the clock is disciplined by a time service. Reads only.
bool kernel_clock_synchronised();
/// The kernel's boot id as 32 hex digits; empty where it cannot be read.
std::string boot_id();
/// CLOCK_BOOTTIME, nanoseconds.
std::int64_t steady_now_ns();

}  // namespace tallystick::ports
