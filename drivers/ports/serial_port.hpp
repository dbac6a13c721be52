// The driver for serial lines (and the pseudo-terminals that stand for them).
#pragma once

#include "drivers/ports/stream_port.hpp"

namespace tallystick::ports {

/// `path` is the port's key: it is followed where it names another line, and looked at when its folder
/// changes.
class SerialPort : public StreamPort {
 public:
  SerialPort(PortConfig config, const Surroundings& surroundings)
      : StreamPort(std::move(config), surroundings) {}

  void start() override;
  void node_changed() override;

 private:
  std::optional<Opening> open_wire() override;
  Error ended(const std::string& how) const override;

  std::int64_t last_failure_mark_ = 0;
};

}  // namespace tallystick::ports
