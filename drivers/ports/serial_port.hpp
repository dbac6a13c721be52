// The driver for serial lines (and the pseudo-terminals that stand for them).
#pragma once

#include "drivers/ports/stream_port.hpp"
#include "drivers/ports/usb_key.hpp"

namespace tallystick::ports {

/// The port's key is a path, or what the adapter is on USB. It is followed where it leads to another line,
/// and looked at when something is plugged in or its folder changes. A key that fits two lines opens neither.
class SerialPort : public StreamPort {
 public:
  SerialPort(PortConfig config, const Surroundings& surroundings);

  void start() override;
  void node_changed() override;

 private:
  std::optional<Opening> open_wire() override;
  Error ended(const std::string& how) const override;

  std::vector<FoundPort> usb_lines_now() const;
  /// The node that the key leads to just now. Errors: "port_absent", "port_ambiguous".
  Expected<std::string> find_node();
  Expected<std::string> find_by_path() const;
  void follow_key(const Expected<std::string>& node);
  void warn_of_twin(const Error* twin);

  UsbChoice choice_;
  std::string twin_warning_;  ///< empty: none stands
  std::int64_t last_failure_mark_ = 0;
};

}  // namespace tallystick::ports
