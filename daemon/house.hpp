// The composition root: makes the rooms from a configuration, wires them, and takes them down in mirrored order.
#pragma once

#include <filesystem>
#include <memory>
#include <string>

#include "daemon/measure/error.hpp"

namespace tallystick {

class ServiceManager;
namespace ports {
class KeyDevices;
}

struct HouseOptions {
  std::filesystem::path configuration;   ///< a tallystick.toml, or its folder
  std::string version;
  /// Safe start: record, pages and export can be read; dialects are not read, no gauge is opened, nothing is taken.
  bool safe = false;
  /// Where to listen while there is no configuration that says so (lobby.hpp).
  int lobby_port = 7411;
  std::shared_ptr<ports::KeyDevices> keyboards = {};   ///< null: the machine's input devices
  const ServiceManager* manager = nullptr;   ///< outlives the house; null: nobody is told
};

class House {
 public:
  /// Opens the record, loads the state, listens, opens the ports. Errors: "configuration_unreadable" and "not_toml" (no configuration
  /// that says where the record lies: the lobby answers then), "locked", "network_share", "newer_format",
  /// "not_loopback", "port_taken", ...
  static Expected<std::unique_ptr<House>> open(HouseOptions options);
  virtual ~House() = default;
  /// Serves until SIGINT or SIGTERM; then ends all of it in order. SIGHUP reads the configuration anew. Returns the
  /// process's exit status.
  virtual int run() = 0;
};

}  // namespace tallystick
