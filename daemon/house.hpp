// The composition root: makes the rooms from a configuration, wires them, and takes them down in mirrored order.
#pragma once

#include <filesystem>
#include <memory>
#include <string>

#include "daemon/measure/error.hpp"

namespace tallystick {

struct HouseOptions {
  std::filesystem::path configuration;   ///< a tallystick.toml, or its folder
  std::string version;
};

class House {
 public:
  /// Opens the record, loads the state, listens, opens the ports. Errors: those of the configuration that leave
  /// nothing to serve, "locked", "network_share", "newer_format", "not_loopback", "port_taken", ...
  static Expected<std::unique_ptr<House>> open(HouseOptions options);
  virtual ~House() = default;
  /// Serves until SIGINT or SIGTERM; then ends all of it in order. Returns the process's exit status.
  virtual int run() = 0;
};

}  // namespace tallystick
