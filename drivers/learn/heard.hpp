// What was heard on a port while somebody pressed a gauge's button and said what its display showed: the
// material that a dialect is learned from. Pure: whoever listens hands the bytes and their times in.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/dialect.hpp"
#include "drivers/decode/reading.hpp"
#include "drivers/decode/replay_log.hpp"

namespace tallystick::learn {

/// What a person read off the display.
struct Shown {
  std::string
      digits;  ///< "12.345": a plain decimal without its sign; empty where the display showed no number
  bool negative = false;
  std::optional<Unit> unit;
  std::optional<GaugeStatus> status;
  std::optional<std::string> channel;

  bool has_number() const { return !digits.empty(); }
  bool zero() const;
  /// With its sign: "-0.007".
  std::string number() const { return (negative ? "-" : "") + digits; }
};

/// "12.345 mm", "-0,5 in low_battery", "over_range", "2: 12.3 mm" (channel 2). The mark may be '.' or ','.
/// Without a unit the number alone is known. Error "not_shown" says what can be written.
Expected<Shown> read_shown(std::string_view text);

/// One press of the button (or a while of a stream): all bytes that it brought, with the line's settings of
/// that time.
struct Press {
  PortSettings line;
  std::vector<ReplayRecord> heard;  ///< received only, in order
  std::optional<Shown> shown;
  std::string shown_text;  ///< as the person wrote it

  std::string bytes() const;
};

struct Recording {
  std::vector<Press> presses;
  std::string note;  ///< what could not be used of a log, in a sentence; else empty
};

/// Reads a log of heard bytes, or a replay log (its `shown` values are given to its presses in order, where
/// there are as many). Faults: "bad_heard_log", "bad_replay_log".
///
///   # remark
///   line 9600 8N1          the settings from here on
///   0 rx 2b30 31...        microseconds that never go back, hex bytes as in a replay log
///   shown 12.345 mm        what the display showed for the bytes since the last shown (or line)
///   press                  the same without a word about the display
tl::expected<Recording, Faults> read_recording(std::string_view text, std::string_view file);
/// The same as text, so that it can be read again.
std::string recording_text(const Recording& recording);
/// The presses that were heard with the given settings, as a replay log of that dialect ("source: recorded").
std::string replay_log_text(const std::vector<Press>& presses, std::string_view dialect,
                            const PortSettings& line, std::string_view date);

/// "9600 8N1".
std::string settings_text(const PortSettings& line);
std::optional<PortSettings> settings_of(std::string_view text);

/// A decimal without zeros that say nothing: "012.340" is "12.34", "000" is "0". Digits and at most one '.'.
std::string plain_digits(std::string_view digits);

}  // namespace tallystick::learn
