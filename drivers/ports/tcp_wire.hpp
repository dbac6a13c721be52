// A connection as a wire, and the options that let a dead one be found.
#pragma once

#include <memory>
#include <string>

#include "drivers/ports/gauge.hpp"
#include "drivers/ports/wire.hpp"

namespace tallystick::ports {

/// What the kernel holds for a connection (tcp(7), socket(7)).
struct TcpOptions {
  bool no_delay = false;  ///< a request of a few bytes goes out at once
  bool keep_alive = false;
  int idle_s = 0, interval_s = 0, count = 0;
  /// So long may sent bytes or probes stay unacknowledged (RFC 5482); then the connection is dead.
  int user_timeout_ms = 0;
  bool operator==(const TcpOptions&) const = default;
};

/// The user time-out is not asked for by itself: it is what the keep-alive takes (idle + interval x count),
/// so that a far end that is gone is found after the same time whether a request is out or not.
TcpOptions options_of(const TcpSettings& settings);
Expected<TcpOptions> read_tcp_options(int descriptor);

/// Takes over a connected socket, also where it fails. Sets the options and reads them back. Errors:
/// "port_settings" (both values), "port_failed".
Expected<std::unique_ptr<Wire>> make_tcp_wire(int descriptor, const TcpSettings& settings,
                                              const std::string& where);

}  // namespace tallystick::ports
