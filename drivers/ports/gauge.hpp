// What a driver is, in a page.
//
// A driver belongs to a port; a gauge is a port and, where it has one, a channel, with a stable id. The
// driver holds the port open, turns its bytes into readings by the port's dialect, asks where the gauge wants
// to be asked, and says how the port stands. It knows nothing of steps, limits, walks or the record: it ends
// at the GaugeSink.
//
// - Life: start() once, stop() once; between them it looks for its port for ever (port_life.hpp). A fault of
// one port
//   never reaches another, and never ends the daemon.
// - Threads: everything happens on the thread that runs the io_context, the sink's calls too. Nothing blocks.
// - Time: each wake-up is stamped once, before its bytes are decoded.
// - Errors: what a person must know stands in PortStatus (why, hint); nothing is thrown.
// - A new driver: derive from Driver (or from StreamPort, where bytes come through a descriptor), add one
// line to the table in drivers.cpp.
#pragma once

#include <boost/describe.hpp>
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/dialect.hpp"
#include "drivers/decode/reading.hpp"
#include "drivers/ports/folder_settings.hpp"
#include "drivers/ports/keyboard_settings.hpp"
#include "drivers/ports/port_life.hpp"
#include "drivers/ports/usb_key.hpp"

namespace boost::asio {
class io_context;
}
namespace spdlog {
class logger;
}

namespace tallystick::ports {

class Clock;
class KeyDevices;

/// A gauge at a port.
struct GaugeConfig {
  std::string id;
  std::string channel;  ///< empty: the port has but this one gauge
  Speaks speaks = Speaks::pushed;
  bool operator==(const GaugeConfig&) const = default;
};

/// Of a port whose driver is "tcp": whom to call, and when a connection without a sound is given up. Three
/// probes after 15 s of silence, 5 s apart: a far end that is gone is found within half a minute.
struct TcpSettings {
  std::string host;  ///< a name, or an address in numbers (IPv6 without brackets)
  int port = 0;      ///< 1 to 65535
  std::chrono::milliseconds connect_timeout{5000};
  int keep_alive_idle_s = 15, keep_alive_interval_s = 5, keep_alive_count = 3;
  bool operator==(const TcpSettings&) const = default;
};

/// A port as the configuration states it. `path` is the port's key: a link of /dev/serial/by-id or by-path,
/// or a plain node (accepted with a warning: its number changes); for "tcp" the address as it is written; for
/// "keyboard" what tells the device (keyboard_finder.hpp, key_text); where `usb` names the line, the text of that.
struct PortConfig {
  std::string name;
  std::string path;
  std::shared_ptr<const Dialect> dialect;  ///< never null
  std::vector<GaugeConfig> gauges;
  std::string driver = "serial";  ///< a name of the table in drivers.cpp
  TcpSettings tcp = {};           ///< of drivers "tcp" and "modbus-tcp"
  FolderSettings folder = {};     ///< of driver "folder"; its `path` is the folder
  KeyboardSettings keyboard = {}; ///< of driver "keyboard"
  UsbKey usb = {};                ///< of a line on USB that is named by what it is; else `path` leads to it
  /// The dialects are the same object.
  bool operator==(const PortConfig&) const = default;
};

/// How a port stands, for clients. Published on change; counters are as of the publishing, `status()` has
/// them fresh. Times are UTC microseconds for showing; 0: never.
struct PortStatus {
  std::string port, path;
  std::string node;  ///< what the key names at present; empty where nothing
  std::string dialect;
  PortState state = PortState::absent;
  std::int64_t since_utc_us = 0;
  std::int64_t away_since_utc_us = 0;  ///< 0 while it is open or silent
  std::string code, why, hint;        ///< of absent, silent, lost, backing_off: what was found and what to do
  std::vector<std::string> warnings;  ///< it works, but should be mended
  std::int64_t attempts = 0;          ///< failed ones since it was last open
  std::int64_t losses = 0;
  std::int64_t last_heard_utc_us = 0;  ///< a whole good frame
  std::int64_t bytes = 0;              ///< received since the start
  std::int64_t warm_up_bytes = 0;      ///< discarded: they came too soon after opening
  std::int64_t late_replies = 0;       ///< answers that came after their time-out: never taken
  std::int64_t unsolicited = 0;        ///< frames of an asked gauge that answer no request: never taken
  std::int64_t unanswered = 0;         ///< requests given up after all retries
  bool operator==(const PortStatus&) const = default;
};
BOOST_DESCRIBE_STRUCT(PortStatus, (),
                      (port, path, node, dialect, state, since_utc_us, away_since_utc_us, code, why, hint,
                       warnings, attempts, losses, last_heard_utc_us, bytes, warm_up_bytes, late_replies,
                       unsolicited, unanswered))

/// A channel that no gauge of the port has: its frames are listed and held here, never given to a gauge.
struct UnknownChannel {
  std::string port, channel;
  std::int64_t count = 0;
  std::int64_t first_utc_us = 0, last_utc_us = 0;
  std::string last_value, last_unit;
  std::string last_bytes_hex;
  bool operator==(const UnknownChannel&) const = default;
};
BOOST_DESCRIBE_STRUCT(UnknownChannel, (),
                      (port, channel, count, first_utc_us, last_utc_us, last_value, last_unit,
                       last_bytes_hex))

/// One frame of the ring in memory that the gauges page shows.
struct RecentFrame {
  std::int64_t utc_us = 0;
  std::string bytes_hex;
  std::string value, unit, status;  ///< of a reading
  std::string cause;                ///< "pushed" | "asked" | "streamed"
  std::string refusal, detail;      ///< of a refused frame, "late_reply" and "unsolicited" among them
  bool operator==(const RecentFrame&) const = default;
};
BOOST_DESCRIBE_STRUCT(RecentFrame, (), (utc_us, bytes_hex, value, unit, status, cause, refusal, detail))

/// What is remembered of a gauge (gauge empty: frames of the port that belong to no known gauge). Newest
/// last.
struct GaugeRecent {
  std::string gauge, port, channel;
  std::int64_t readings = 0;
  std::int64_t last_heard_utc_us = 0;
  std::map<std::string, std::int64_t> refusals;  ///< counts by reason
  std::vector<RecentFrame> frames;
  bool operator==(const GaugeRecent&) const = default;
};
BOOST_DESCRIBE_STRUCT(GaugeRecent, (), (gauge, port, channel, readings, last_heard_utc_us, refusals, frames))

/// A pedal, a button or a code card acted, as its port's configuration says.
struct KeyActed {
  std::string port, bench;
  KeyDeed does = KeyDeed::good;
  std::string gauge;   ///< of `ask`
  std::string reason;  ///< may be empty
  std::string code;    ///< the key's name, or the text
  Stamp at;            ///< of the press
};

/// Where all of it goes. Called on the loop's thread; a callee may call back into the PortSet (ask, status),
/// but not remove the port that is calling.
class GaugeSink {
 public:
  virtual ~GaugeSink() = default;
  /// Every reading of a known gauge, samples of a stream too (cause streamed).
  virtual void reading(Reading reading) = 0;
  /// `gauge` is empty where the frame does not say which of several it is.
  virtual void refusal(const std::string& port, const std::string& gauge, const Refusal& refusal,
                       const Frame& frame) = 0;
  virtual void port_changed(const PortStatus& status) = 0;
  /// At the first frame, and at most once a minute while more come.
  virtual void unknown_channel(const UnknownChannel& channel) = 0;
  /// A person asked, and no reply came after all retries (code "no_reply"), or the port went away meanwhile.
  virtual void not_answered(const std::string& port, const std::string& gauge, const Error& why) {
    static_cast<void>(port), static_cast<void>(gauge), static_cast<void>(why);
  }
  virtual void acted(const KeyActed& action) { static_cast<void>(action); }
};

/// What drivers are handed. All of it outlives them.
struct Surroundings {
  boost::asio::io_context& loop;
  GaugeSink& sink;
  Clock& clock;
  std::shared_ptr<spdlog::logger> log;  ///< never null
  std::function<double()> jitter;       ///< uniform in 0..1; never empty
  std::size_t ring = 32;                ///< frames remembered for each gauge
  std::shared_ptr<KeyDevices> keyboards = {};  ///< null: the machine's own
  /// The USB lines that are plugged in; empty: as usb_lines.hpp finds them.
  std::function<std::vector<FoundPort>()> find_usb_lines = {};
  /// Writes a small file so that it is whole and on the disk when it returns. Called on other threads too.
  /// Empty: what drivers would keep over a restart is not kept (a look at a port without the daemon).
  std::function<Done(const std::filesystem::path& file, std::string_view bytes)> keep = {};
  std::filesystem::path keep_folder = {};  ///< where such files lie
};

class Driver {
 public:
  virtual ~Driver() = default;
  virtual void start() = 0;
  /// Closes the descriptor before it returns; no call of the sink comes after.
  virtual void stop() = 0;
  /// A person asks the gauge now. Errors: "not_asked" (it speaks by itself), "unknown_gauge",
  /// "port_not_open", "already_asked". The answer comes to the sink as a reading with cause asked, or as
  /// not_answered.
  virtual Done ask(std::string_view gauge) = 0;
  virtual PortStatus status() const = 0;
  virtual std::vector<GaugeRecent> recent() const = 0;
  virtual std::vector<UnknownChannel> unknown_channels() const = 0;
  /// A folder on the way to the port's node changed: worth a look.
  virtual void node_changed() {}
  /// Paths that `node_changed` wants to hear of; one that ends with "/" means whatever comes and goes in it.
  /// Empty: the port's path.
  virtual std::vector<std::string> watched() const { return {}; }
};

/// Makes the driver that `config.driver` names. Error "unknown_driver".
Expected<std::shared_ptr<Driver>> make_driver(const PortConfig& config, const Surroundings& surroundings);

}  // namespace tallystick::ports
