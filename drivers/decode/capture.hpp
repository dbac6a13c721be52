// A capture of a stream: from its begin to its end every sample of one gauge goes in, one value comes out,
// and with it the samples that it can be worked out from again (capture_bytes.hpp). Pure: time comes in with
// the samples.
//
// Exact: values are counts, extremes are those of every sample that was taken, whatever was left out of what
// is kept. Bounded: `max`, `min` and `span` keep at most 2,048 samples (lowest and highest of each of 1,024
// stretches of equal count, which double when they are full), `settled` those of its window and `sweep` all
// of them, 65,536 at most: a capture that needs more breaks off and says so. 16 bytes a sample: at most about
// 1 MiB. Broken: where the stream lost anything in between (a refused frame, a pause longer than the rule
// allows, the port, a gauge that says that it is out of range), an extreme may have been lost with it: then
// there is no value to judge. `settled` alone goes on after a frame that was no value: its window begins
// anew. One thread. Nothing is thrown.
#pragma once

#include <boost/describe.hpp>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/measure/quantity.hpp"
#include "daemon/measure/stamp.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick {

/// What ends it and what it keeps. ("now", the first frame after the action, needs none of this.)
enum class CaptureKind : std::uint8_t { settled, max, min, span, sweep };
BOOST_DESCRIBE_ENUM(CaptureKind, settled, max, min, span, sweep)
/// What of its samples is judged. `span`: greatest less least, the total indicator reading of a turn. `last`:
/// the one that settled. `mean`: exact sum, its division rounded to the count, half to even.
enum class CaptureValue : std::uint8_t { last, max, min, span, mean };
BOOST_DESCRIBE_ENUM(CaptureValue, last, max, min, span, mean)

struct CaptureRule {
  CaptureKind kind = CaptureKind::span;
  CaptureValue value = CaptureValue::span;
  /// Where given, it begins by itself at the first sample farther than this from the first one after the
  /// action. The extremes of what came before count too: a slow start takes nothing from a span.
  std::optional<Quantity> movement;
  Quantity window;             ///< of `settled`: greatest less least of the settled stretch, at most
  std::int64_t settle_us = 0;  ///< of `settled`: for so long
  std::int64_t end_after_us =
      0;  ///< from its begin (where it waits for movement: from that); 0: by the action
  std::int64_t longest_gap_us = 1'000'000;  ///< between two samples
  std::int64_t longest_us = 600'000'000;    ///< of the whole: then it breaks off
};

struct CaptureSample {
  std::int64_t at_us = 0;  ///< since the action that began it
  std::int64_t count = 0;  ///< of the base of the capture's unit
  bool operator==(const CaptureSample&) const = default;
};

/// A bounded trace: every sample while there is room, then the lowest and the highest of each stretch (of
/// equals the first). The extremes of everything added are always in it.
class CaptureTrace {
 public:
  /// Precondition: `stretches` is even.
  explicit CaptureTrace(std::size_t stretches = 1024) : stretches_(stretches) {}
  void add(const CaptureSample& sample);
  void clear();
  /// In the order of time; at most 2 x stretches.
  std::vector<CaptureSample> samples() const;
  bool all() const { return each_ == 1; }  ///< nothing was left out

 private:
  struct Stretch {
    CaptureSample low, high;
  };
  static void join(Stretch& into, const Stretch& later);
  std::size_t stretches_, each_ = 1, in_last_ = 0;
  std::vector<Stretch> kept_;
};

/// How a capture came out.
struct CaptureEnd {
  std::string ended_by;  ///< "action" "time" "settled"; "broken" where it broke
  std::string
      broken;  ///< "" or why it cannot be judged: "frame_refused" "gap" "port_lost" "gauge_status"
               ///< "unit_changed" "too_long" "too_many" "too_few" "no_movement" "not_settled" "overflow"
  std::string detail;                       ///< of `broken`: what was found
  std::optional<Quantity> value;            ///< none where it broke
  std::optional<Quantity> least, greatest;  ///< of every sample; none where none came
  std::int64_t samples = 0;                 ///< taken
  std::int64_t refused = 0;                 ///< frames in between that were no value
  std::int64_t first_us = 0, last_us = 0;   ///< of the first and the last sample
  std::int64_t longest_gap_us = 0;          ///< between two samples, or from the begin to the first
  std::int64_t moved_us = -1;  ///< when it began by itself; -1: it did not wait for that, or never did
  Unit unit;
  bool all = true;  ///< `kept` is every sample
  std::vector<CaptureSample> kept;
};

class Capture {
 public:
  Capture(CaptureRule rule, Stamp begun);

  /// One frame that was understood. Frames that began at or before the action must not be handed in.
  void take(const Decoded& decoded, const Stamp& when);
  /// A frame of this gauge that was refused.
  void refused(RefusalReason reason, const Stamp& when);
  void port_lost(const Stamp& when);
  /// Time passed: ends it where the rule says so, breaks it where nothing came for too long. At least once a
  /// second.
  void pass(const Stamp& now);
  /// The action that ends it: what it comes to. Where it has ended already, that.
  CaptureEnd end(const Stamp& now) const;

  /// It has ended or broken by itself; `end` says how.
  bool ended() const { return !ended_by_.empty(); }
  bool waits_for_movement() const { return rule_.movement && moved_us_ < 0; }
  const CaptureRule& rule() const { return rule_; }
  const Stamp& begun() const { return begun_; }
  std::int64_t samples() const { return samples_; }
  std::optional<Quantity> least() const { return of(low_); }
  std::optional<Quantity> greatest() const { return of(high_); }
  std::optional<Quantity> last() const { return of(last_); }
  std::optional<Quantity> span() const;
  /// What a picture of it needs: at most `most` (a multiple of 4) samples, the extremes among them.
  std::vector<CaptureSample> picture(std::size_t most) const;
  Unit unit() const { return unit_; }

 private:
  struct Numbered {
    std::uint64_t number = 0;
    std::int64_t count = 0;
  };
  std::int64_t offset_us(const Stamp& when) const;
  std::optional<Quantity> of(const std::optional<CaptureSample>& sample) const;
  void break_off(std::string why, std::string detail);
  void lost_something(std::string why, std::string detail);
  void move(std::int64_t at_us);
  void keep(const CaptureSample& sample);
  void settle(const CaptureSample& sample);
  void begin_window();
  void finish(std::string by);
  CaptureEnd result() const;

  CaptureRule rule_;
  Stamp begun_;
  Unit unit_;
  std::optional<CaptureSample> first_, last_, low_, high_;
  std::int64_t samples_ = 0, refused_ = 0, longest_gap_us_ = 0, moved_us_ = -1;
  std::int64_t heard_us_ = 0;  ///< of the last frame of any kind
  CaptureTrace trace_;
  std::deque<CaptureSample> window_;   ///< of `settled`: its longest stretch so far
  std::deque<Numbered> lows_, highs_;  ///< those of its samples that no later one undercuts, or overtops
  std::uint64_t window_first_ = 0;     ///< number of the window's first sample
  std::vector<CaptureSample> sweep_;
  std::string ended_by_, broken_, detail_;
};

/// The value that samples come to under a rule's value. Errors "no_samples", "overflow".
Expected<Quantity> captured_value(CaptureValue value, const std::vector<CaptureSample>& samples, Unit unit);

}  // namespace tallystick
