// All ports of the daemon. The rest of the program knows this class and the GaugeSink, and no driver.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"
#include "drivers/ports/gauge.hpp"

namespace tallystick::ports {

class HotPlug;
class NodeWatch;

/// One thread (that of the io_context). Ports may be added, removed and changed while the others run
/// undisturbed.
class PortSet {
 public:
  explicit PortSet(Surroundings surroundings);
  ~PortSet();  ///< stops
  PortSet(const PortSet&) = delete;
  PortSet& operator=(const PortSet&) = delete;

  /// Starts at once where the set runs. Errors: "port_twice" (name or path), "gauge_twice" (id, or channel
  /// within the port), "unknown_driver".
  Done add(PortConfig config);
  /// Closes the port. Error "unknown_port".
  Done remove(std::string_view port);
  /// Makes the set be `configs`: removes, adds and restarts only what differs. All errors; on any the set is
  /// as before.
  std::vector<Error> reload(std::vector<PortConfig> configs);

  void start();
  void stop();

  /// Something was plugged in or pulled: every port looks whether its key leads to it. Called by the set
  /// itself where the system tells.
  void look_again();

  /// A person asks a gauge; see Driver::ask. Error "unknown_gauge" also where no port has it.
  Done ask(std::string_view gauge);

  std::vector<PortStatus> status() const;
  std::vector<GaugeRecent> recent() const;
  std::vector<UnknownChannel> unknown_channels() const;
  /// Name of the port that the gauge is at; empty: none.
  std::string port_of(std::string_view gauge) const;

 private:
  struct Entry {
    PortConfig config;
    std::shared_ptr<Driver> driver;
  };
  Surroundings surroundings_;
  std::vector<Entry> entries_;
  std::shared_ptr<NodeWatch> watch_;
  std::shared_ptr<HotPlug> hot_plug_;  ///< null until a port is named by what it is on USB
  bool running_ = false;

  void watch_nodes();
  /// True where udev tells of what is plugged in.
  bool hear_hot_plug();
};

/// What a list of ports has wrong (names, paths, ids, channels twice); empty: nothing.
std::vector<Error> faults_of(const std::vector<PortConfig>& configs);

}  // namespace tallystick::ports
