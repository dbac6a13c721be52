// A dialect: how the bytes of one kind of gauge become values, and how its port is to be set. Data, not code:
// it is read from a *.dialect.toml text (config/dialects/README.md explains every key) and compiled once into
// a plan. Pure: the caller opens the file. A Dialect is immutable after loading and may be shared by threads.
#pragma once

#include <chrono>
#include <cstddef>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/measure/quantity.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick {

/// Everything that is wrong with one text, in the order of its lines. Never empty where it is an error.
using Faults = std::vector<Error>;

enum class Parity : std::uint8_t { none, even, odd, mark, space };
enum class FlowControl : std::uint8_t { none, rts_cts, xon_xoff };
/// What becomes of a modem line when the port is opened.
enum class LineSignal : std::uint8_t { leave, assert_it, deassert };

/// How the port must be set. A baud rate of 0 never occurs.
struct PortSettings {
  int baud = 9600;
  int data_bits = 8;  ///< 5 to 8
  Parity parity = Parity::none;
  int stop_bits = 1;  ///< 1 or 2
  FlowControl flow = FlowControl::none;
  LineSignal rts = LineSignal::leave;
  LineSignal dtr = LineSignal::leave;
  /// Bytes that come sooner after opening are thrown away and counted (`Decoder::discarded`).
  std::chrono::milliseconds warm_up{0};

  /// Start bit, data bits, parity bit, stop bits at this speed.
  std::chrono::nanoseconds character_time() const;
  bool operator==(const PortSettings&) const = default;
};

/// How the stream is cut into frames.
enum class CutBy : std::uint8_t { terminator, length, start_end, idle_gap, length_byte };

struct Framing {
  CutBy by = CutBy::terminator;
  std::string start;  ///< bytes that begin a frame; may be empty but for `start_end` and `length_byte`
  std::string end;    ///< the terminator, or the end bytes; empty for `length` without one and `idle_gap`
  std::size_t length = 0;       ///< of the whole frame, for `length`
  std::size_t length_at = 0;    ///< for `length_byte`: where it stands, from 0 at the frame's first byte
  std::size_t length_adds = 0;  ///< the whole frame is the length byte and so many bytes more
  std::size_t shortest = 1;   ///< for `length_byte`: a frame that says less, or more than `longest`, is none
  std::size_t after_end = 0;  ///< bytes of the frame that follow the end bytes (a checksum)
  std::size_t longest = 256;  ///< a frame with more bytes is refused as too_long
  /// The line was silent for so long: what follows is a new beginning. Default 3.5 character times.
  std::chrono::nanoseconds idle_gap{0};
  /// The same right after the port was opened. Where idle_gap is the default this is 20 ms at least: an
  /// adapter may hold bytes of a running stream back for 16 ms, and they must not look like a new beginning.
  std::chrono::nanoseconds open_gap{0};
  /// A frame that was begun and got no further for so long is `incomplete`. (A gap inside a frame may be the
  /// operating system's or a radio's, so this is longer than idle_gap, except where the gap itself cuts.)
  std::chrono::nanoseconds give_up{0};
};

/// Who speaks first.
enum class Speaks : std::uint8_t { pushed, asked, streams };
std::string_view name(Speaks speaks);
/// The cause that a reading of such a gauge has.
Cause cause_of(Speaks speaks);

struct ModbusMap;  // drivers/decode/modbus_map.hpp

/// How an `asked` gauge is asked. One request at a time is outstanding on a port.
struct Ask {
  std::string request;  ///< bytes to send; empty where the register map makes them
  std::chrono::milliseconds reply_timeout{500};
  int retries = 1;                     ///< further tries after the first
  std::chrono::milliseconds every{0};  ///< asked by a timer so often; 0: only by a person
  /// Asks for the oldest entry of the gauge's error queue (ports/error_queue.hpp); empty: it has none.
  std::string error_query;
  /// The line is left silent for so long before a request goes out.
  std::chrono::nanoseconds quiet{0};
};

namespace decode {
class Plan;  // drivers/decode/plan.hpp
}

struct Dialect {
  std::string name;   ///< [a-z0-9-]{1,40}
  std::string about;  ///< one sentence for people
  PortSettings port;
  Framing framing;
  Speaks speaks = Speaks::pushed;
  /// A streaming gauge that says nothing for so long is silent; 0: silence means nothing (pushed, asked).
  std::chrono::milliseconds silent_after{0};
  /// A streaming gauge that has been silent for so long: its port is closed and opened anew; 0: only reported.
  std::chrono::milliseconds reopen_after{0};
  /// A streaming gauge is not known before so many frames were understood after opening; 0 for the others.
  int frames_to_identify = 0;
  std::optional<Ask> ask;      ///< set where `speaks` is asked, and always with a register map
  std::optional<Unit> unit;    ///< the dialect's own; always set where the frame carries none
  bool unit_in_frame = false;  ///< the frame names its unit (then `unit` is what stands in for a missing one)
  bool carries_channel = false;
  std::vector<std::string> same_shape_as;  ///< dialects that decode these bytes to the same readings

  /// Set where values are read from registers: then the map makes requests and understands replies, and
  /// `plan` is null.
  std::shared_ptr<const ModbusMap> modbus;

  std::shared_ptr<const decode::Plan> plan;  ///< never null after loading, but for a register map
};

/// Reads and compiles a dialect. `file` is only named in the faults ("file:line"). All faults are told at
/// once; their codes: "not_toml", "unknown_key", "missing_key", "wrong_type", "wrong_value", "bad_pattern",
/// "contradiction", "unknown_unit", "no_unit".
tl::expected<Dialect, Faults> read_dialect(std::string_view toml, std::string_view file);

/// Of a port that no gauge stands at: nothing is a value to it. Nameless; always the same object.
std::shared_ptr<const Dialect> no_dialect();

}  // namespace tallystick
