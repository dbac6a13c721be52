// From a port as the configuration states it to what its driver is made of.
#pragma once

#include <optional>

#include "daemon/record/configuration_files.hpp"
#include "drivers/ports/gauge.hpp"

namespace tallystick {

/// With the gauges that stand at it. Nothing where its dialect is not sound (a fault of the configuration,
/// told there).
std::optional<ports::PortConfig> port_config(const shop::PortCard& card,
                                             const record::Configuration& configuration);

}  // namespace tallystick
