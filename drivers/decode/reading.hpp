// What comes out of a port once its bytes are understood: a reading, or a typed refusal.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/measure/quantity.hpp"
#include "daemon/measure/stamp.hpp"

namespace tallystick {

/// What the gauge says of itself beside the value. `ok` and `low_battery` carry a usable value.
enum class GaugeStatus : std::uint8_t { ok, low_battery, over_range, under_range, error };
std::string_view name(GaugeStatus status);

/// Why a frame is no reading. A refused frame never becomes a number. `declined`: the gauge says that it will
/// not do what it was asked.
enum class RefusalReason : std::uint8_t {
  incomplete, not_mine, bad_checksum, out_of_range, unknown_unit, unknown_status, not_a_number, too_long,
  declined
};
std::string_view name(RefusalReason reason);

/// One value as a dialect found it in a stream of bytes. Says nothing of steps or limits.
struct Decoded {
  Quantity quantity;          ///< in the unit sent, or the dialect's own where the frame carries none
  std::string value_text;     ///< the number as plain decimal ("-0.007"), point as mark, digits as sent
  bool unit_in_frame = false; ///< false: the unit is the dialect's word, and may be doubted
  std::optional<std::string> channel;
  GaugeStatus status = GaugeStatus::ok;
};

/// A frame cut from a stream, whatever became of it.
struct Frame {
  std::uint64_t offset = 0;   ///< of its first byte, since the decoder was made
  std::string bytes;          ///< raw, as received
  Stamp first;                ///< wake-up that brought its first byte
  Stamp last;                 ///< wake-up that brought its last byte
};

/// What a frame is to the request that is out, where the frames of a dialect can tell. `present`: its answer,
/// for good or ill; `earlier`: the answer to one that was given up.
enum class ReplyTo : std::uint8_t { unknown, present, earlier };

struct Refusal {
  RefusalReason reason = RefusalReason::not_mine;
  std::string detail;         ///< e.g. "checksum 3A, expected 41"
  ReplyTo reply_to = ReplyTo::unknown;
};

/// How a reading came about. Only `pushed`, `asked` and `typed` are caused by a person.
enum class Cause : std::uint8_t { pushed, asked, streamed, typed };
std::string_view name(Cause cause);

/// A value from a gauge, on its way to a walk.
struct Reading {
  std::string gauge;          ///< stable id from the register; empty while the channel is unknown
  std::string port;
  Decoded decoded;
  Frame frame;
  Cause cause = Cause::pushed;
  const Stamp& stamp() const { return frame.last; }
};

}  // namespace tallystick
