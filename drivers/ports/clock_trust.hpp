// Whether the clock that stamps readings may be believed, and when it was stepped. Pure: fed with samples.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

namespace tallystick::ports {

/// How the shop gets its time. network: the kernel must say that it is synchronised. own: a machine without a
/// network; its clock counts as right unless it went back, was stepped, or stopped.
enum class ClockPolicy : std::uint8_t { network, own };

/// UTC moved against the steady clock at once: somebody (or a time service) set it.
struct ClockStep {
  std::int64_t at_steady_ns = 0;
  std::int64_t utc_before_us = 0;  ///< what UTC would have been without the step
  std::int64_t utc_after_us = 0;
  std::int64_t by_us() const { return utc_after_us - utc_before_us; }
  bool operator==(const ClockStep&) const = default;
};

/// What is shown of the clock. `code`: "" while trusted, else "clock_before_record", "clock_stepped",
/// "clock_not_synchronised".
struct ClockState {
  bool trusted = true;
  std::string code, why, hint;
  bool operator==(const ClockState&) const = default;
};

/// Judges samples of both clocks taken together. One boot only: a new process makes a new one.
class ClockTrust {
 public:
  struct Rules {
    ClockPolicy policy = ClockPolicy::network;
    std::int64_t step_us = 50'000;  ///< a smaller jump is noise of sampling; slewing moves both clocks alike
    std::int64_t unsynchronised_ns =
        600'000'000'000;               ///< bearable after it was synchronised once; network only
    std::int64_t back_us = 1'000'000;  ///< UTC may lie so far before the last journalled time
  };
  ClockTrust(Rules rules, std::int64_t last_journalled_utc_us)
      : rules_(rules), last_journalled_us_(last_journalled_utc_us) {}

  /// One sample. Returns the step that it shows, if any. `synchronised` is what the kernel says.
  std::optional<ClockStep> sample(std::int64_t utc_us, std::int64_t steady_ns, bool synchronised);
  /// A time was written into the record.
  void journalled(std::int64_t utc_us) {
    if (utc_us > last_journalled_us_) last_journalled_us_ = utc_us;
  }
  /// A person held the clock against a watch and found it right: steps before are forgiven.
  void confirmed() { stepped_.reset(); }
  ClockState state() const;

 private:
  Rules rules_;
  std::int64_t last_journalled_us_;
  bool sampled_ = false, synchronised_ = false, ever_synchronised_ = false;
  std::int64_t utc_us_ = 0, steady_ns_ = 0, unsynchronised_since_ns_ = 0;
  std::optional<ClockStep> stepped_;
};

}  // namespace tallystick::ports
