// The USB serial lines that are plugged in just now, with what their keys are held against.
#pragma once

#include <vector>

#include "drivers/ports/found_ports.hpp"

namespace tallystick::ports {

/// By libudev; where that tells nothing, from sysfs as find_ports reads it. Blocking, a millisecond or so;
/// any thread. Tests hand the drivers find_ports over a tree of their own instead (Surroundings).
std::vector<FoundPort> usb_lines();

}  // namespace tallystick::ports
