// What answers while there is no house: no configuration yet, or one that cannot be read at all. Never a dead
// address: with no file the pages find the ports and offer the first configuration; with one that is no TOML
// they list its faults. The lobby opens no record and no port.
#pragma once

#include <memory>

#include "daemon/house.hpp"

namespace tallystick {

enum class Left : std::uint8_t { stopped, configured };

class Lobby {
 public:
  /// True for the errors of House::open that the lobby answers.
  static bool answers(const Error& error);
  /// Listens on the loopback address, on options.lobby_port. Errors as serve::Server::start.
  static Expected<std::unique_ptr<Lobby>> open(HouseOptions options, Error why);
  virtual ~Lobby() = default;
  /// Serves until SIGINT or SIGTERM (`stopped`), or until a configuration can be read after the first setup,
  /// SIGHUP or `tallystick reload` (`configured`).
  virtual Left run() = 0;
};

}  // namespace tallystick
