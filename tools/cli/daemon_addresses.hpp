// Where the daemon that a command is about may be met.
#pragma once

#include <vector>

#include "tools/cli/client_commands.hpp"
#include "tools/cli/http_client.hpp"

namespace tallystick::cli {

/// The likeliest first, at least one: what `--daemon` names, and nothing else; else the socket that the service manager
/// made (of the service's own configuration), the socket in the data folder, each where there is one, then host and port
/// of the configuration. Errors "wrong_address", and those of a named configuration that cannot be read.
Expected<std::vector<DaemonAddress>> daemon_addresses(const DaemonOptions& options);

}  // namespace tallystick::cli
