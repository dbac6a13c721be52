// Follows one port without a daemon: opens it as the daemon would, and prints what comes.
#pragma once

#include <string>

#include "tools/cli/client_commands.hpp"

namespace tallystick::cli {

/// Opens the port of `options.daemon.config` that is named (or that the named gauge is at), exclusively:
/// while the daemon runs the port is the daemon's, and this says so. Nothing is kept. Until interrupted, or
/// `options.seconds`.
int watch_port(const PortsOptions& options, Streams streams);

}  // namespace tallystick::cli
