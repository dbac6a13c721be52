// What the gauges page tries and looks on: one reading of a gauge on its way to a person instead of to a
// walk, and the readings that nobody asked for. Both live in memory only; nothing of them enters the record.
#pragma once

#include <boost/describe.hpp>
#include <deque>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/ports/gauge.hpp"

namespace tallystick::ports {

/// How the trying of a gauge stands. `state`: "waiting" for its reading, "reading" (it came: `frame`),
/// "not_answered" (it was asked: `why`, `hint`), "ended" (`why` says by what: "time_over", "walk_began",
/// "stopped").
struct Trial {
  std::string gauge, state;
  std::int64_t begun_utc_us = 0, until_utc_us = 0, ended_utc_us = 0;
  RecentFrame frame;                 ///< of the reading
  std::vector<RecentFrame> refused;  ///< frames of the gauge that were refused meanwhile, newest last
  std::string why, hint;
  bool operator==(const Trial&) const = default;
};
BOOST_DESCRIBE_STRUCT(Trial, (),
                      (gauge, state, begun_utc_us, until_utc_us, ended_utc_us, frame, refused, why, hint))

/// The trials of all gauges, the newest of each. Pure: the time comes in. While a trial waits, the gauge's
/// next reading is the trial's: shown, judged against nothing, kept nowhere.
class Trials {
 public:
  static constexpr std::int64_t time_s = 60;

  void begin(const std::string& gauge, const Stamp& now);
  void end(const std::string& gauge, std::string_view why, const Stamp& now);
  bool waits(const std::string& gauge) const;
  /// True: the reading was tried and goes nowhere else.
  bool take(const Reading& reading);
  void refused(const std::string& gauge, const Refusal& refusal, const Frame& frame);
  /// True: it was the trial that asked.
  bool not_answered(const std::string& gauge, const Error& why, const Stamp& now);
  /// Ends what has waited too long.
  void tick(const Stamp& now);
  /// Null where the gauge was never tried.
  const Trial* of(const std::string& gauge) const;

 private:
  struct Kept {
    Trial trial;
    Stamp begun;
  };
  Kept* waiting(const std::string& gauge);
  std::map<std::string, Kept> trials_;
};

/// A reading that nobody asked for: no walk was active, or it was a sample that no capture wanted.
struct Unasked {
  std::string gauge;
  RecentFrame frame;
  bool operator==(const Unasked&) const = default;
};
BOOST_DESCRIBE_STRUCT(Unasked, (), (gauge, frame))

/// The newest of each gauge.
class UnaskedRing {
 public:
  explicit UnaskedRing(std::size_t each) : each_(each) {}
  void add(const Reading& reading);
  /// All gauges', oldest first.
  std::vector<Unasked> all() const;

 private:
  std::size_t each_;
  std::map<std::string, std::deque<Unasked>> rings_;
};

/// A reading or a refused frame as the rings show it.
RecentFrame recent_frame(const Reading& reading);
RecentFrame recent_frame(std::string_view reason, const std::string& detail, const Frame& frame);

}  // namespace tallystick::ports
