// A port's life as an explicit state machine: when to open, when to close, when to look again, what to say.
// Pure: it is told the time and the jitter, and touches nothing; the driver carries out what it asks for.
#pragma once

#include <boost/describe.hpp>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"

namespace tallystick::ports {

/// absent: the node is not there, it is looked for again. opening: being opened, or warming up. open: bytes
/// count. silent: open, but a streaming gauge says nothing for longer than its limit. lost: it went away
/// while it was open; its descriptor is being closed. backing_off: it is there but cannot be opened, tried
/// again after a delay.
enum class PortState : std::uint8_t { absent, opening, open, silent, lost, backing_off };
BOOST_DESCRIBE_ENUM(PortState, absent, opening, open, silent, lost, backing_off)
std::string_view name(PortState state);

/// Back-off, for ever: 0.25 s, doubled up to 5 s, each shortened by up to a quarter (jitter), so never above
/// the cap.
struct BackOff {
  std::int64_t first_ns = 250'000'000;
  std::int64_t greatest_ns = 5'000'000'000;
  /// `failures` counts from 1; `jitter` is in 0..1.
  std::int64_t delay_ns(std::uint64_t failures, double jitter) const;
};

/// What the driver must do now. At most one `act`; `changed` says that clients want to know; `log` is one
/// line.
struct Do {
  enum class Act : std::uint8_t { nothing, open, close };
  Act act = Act::nothing;
  bool changed = false;
  std::string log;  ///< empty: say nothing
  bool log_as_warning = false;
};

/// One port. All times are steady nanoseconds of one clock. Not thread-safe; no call blocks.
class PortLife {
 public:
  struct Limits {
    std::int64_t silent_after_ns =
        0;  ///< 0: this gauge only speaks when pressed or asked, silence says nothing
    /// Open, but silent for so long: closed and opened anew, after each time in vain after twice as long (at
    /// most 64 times). 0: silence is only reported.
    std::int64_t reopen_after_ns = 0;
    std::int64_t warm_up_ns = 0;  ///< bytes in it are discarded by the driver (and counted there)
    std::int64_t stable_after_ns = 2'000'000'000;  ///< open for so long, or heard: the back-off starts anew
    BackOff back_off;
  };
  PortLife(std::string port, Limits limits) : port_(std::move(port)), limits_(limits) {}

  Do start(std::int64_t now);
  /// The answer to Act::open.
  Do opened(std::int64_t now);
  Do open_failed(std::int64_t now, const Error& why, double jitter);
  /// End of stream, hang-up, I/O error, or the key names another node now. Asks to close first.
  Do lost(std::int64_t now, const Error& why);
  /// The answer to Act::close after `lost`: only now is the node looked for again.
  Do closed(std::int64_t now, double jitter);
  /// A whole good frame came.
  Do heard(std::int64_t now);
  /// The folder of the node changed: a waiting port tries at once.
  Do node_changed(std::int64_t now);
  /// Call at `wake_at()`.
  Do tick(std::int64_t now);
  /// When `tick` wants to be called next; nothing: not by time.
  std::optional<std::int64_t> wake_at() const;

  PortState state() const { return state_; }
  /// What clients are told: while it is tried again they see what the last attempt found.
  PortState shown() const {
    return state_ == PortState::opening && !holds_ && was_told_ ? shown_before_attempt_ : state_;
  }
  bool warming_up() const { return state_ == PortState::opening && holds_; }
  /// True from `opened` to `closed`: the driver holds a descriptor.
  bool holds() const { return holds_; }
  std::int64_t since_ns() const { return since_; }
  /// Since when it has not been open (meaningful in every state but open and silent).
  std::int64_t away_since_ns() const { return away_since_; }
  const std::optional<Error>& why() const { return why_; }  ///< of absent, lost, backing_off, silent
  std::uint64_t attempts() const { return attempts_; }      ///< failed attempts since it was last open
  std::uint64_t losses() const { return losses_; }
  std::optional<std::int64_t> last_heard_ns() const { return heard_; }

 private:
  void become(PortState next, std::int64_t now);
  Do live(std::int64_t now);
  Do attempt(std::int64_t now);

  std::string port_;
  Limits limits_;
  PortState state_ = PortState::absent;
  PortState shown_before_attempt_ = PortState::absent;
  std::int64_t since_ = 0;
  std::int64_t opened_at_ = 0, warm_until_ = 0, retry_at_ = 0;
  std::int64_t away_since_ = 0;
  bool started_ = false, was_told_ = false, stable_ = false, holds_ = false;
  std::uint64_t attempts_ = 0, failures_ = 0, losses_ = 0;
  int opened_in_vain_ = 0;  ///< times that it was opened anew for its silence, since it was last heard
  std::optional<Error> why_;
  std::optional<std::int64_t> heard_;
};

}  // namespace tallystick::ports
