// One sitting with one gauge: which line settings to listen with, what to ask the person next, and what was
// found so far. Bytes, times and answers come in; nothing is ever sent. Pure. Used by the command line and by
// the gauges page alike.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/learn/learn.hpp"

namespace tallystick::learn {

class Session {
 public:
  /// What the person is asked for next.
  enum class Wants : std::uint8_t {
    press,        ///< press the gauge's button (the line settings may have changed since the last press)
    shown,        ///< say what the display shows for the bytes that were just heard
    other_value,  ///< press again with another value: `findings().missing` says why
    ready         ///< a known dialect or a proposal reads all of it; more presses may still prove more
  };

  /// `only`: the line settings are known, and no others are tried.
  Session(std::vector<std::shared_ptr<const Dialect>> known, Naming naming, std::optional<PortSettings> only);

  const PortSettings& line() const { return line_; }
  Wants wants() const { return wants_; }
  const Findings& findings() const { return findings_; }
  const Recording& recording() const { return recording_; }
  /// The bytes of the press that is under way, or that was heard last.
  const std::string& last_bytes() const { return last_bytes_; }
  /// The last press was not understood at the settings of that time, which were given up for others.
  bool changed_settings() const { return changed_settings_; }
  /// All settings were tried without a readable frame.
  bool tried_all() const { return tried_all_; }

  /// Bytes of one wake-up. Those that come while an answer is waited for belong to no press and are dropped.
  void heard(std::string_view bytes, std::int64_t at_us);
  /// Time passed. True: a press ended by it, `wants` and `line` may have changed.
  bool tick(std::int64_t now_us);
  /// When `tick` would end a press; empty while none is under way.
  std::optional<std::int64_t> press_ends_us() const;

  /// What the display showed for the last press. Errors: "not_shown", "nothing_heard".
  Done shown(std::string_view text);
  /// The last press is to be forgotten (a mishap, a misread display). Error "nothing_heard".
  Done forget();
  /// A gauge that sends all the time was heard: its value is held still by the person, who then says so.
  bool held_back() const { return held_back_; }
  void listen() { held_back_ = false; }
  /// A person chose the settings: no others are tried from here on.
  void listen_with(const PortSettings& line);

 private:
  void end_press();
  bool understood(const Press& press) const;
  void next_settings();
  void look();

  std::vector<std::shared_ptr<const Dialect>> known_;
  Naming naming_;
  Recording recording_;
  Findings findings_;
  PortSettings line_;
  bool only_;
  bool changed_settings_ = false, tried_all_ = false, held_back_ = false;
  Wants wants_ = Wants::press;
  std::vector<ReplayRecord> under_way_;
  std::string last_bytes_;
};

std::string_view name(Session::Wants wants);

/// The part of a recording that says something about its gauge: without presses that nobody told anything
/// about and that were heard at other settings than those that were.
Recording told_part(const Recording& recording);

}  // namespace tallystick::learn
