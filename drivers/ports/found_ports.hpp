// Which serial lines this machine has, for a person who sets up the first configuration. Lists only: no line
// is opened, so nothing is sent to a gauge and no other program is disturbed.
#pragma once

#include <boost/describe.hpp>
#include <filesystem>
#include <string>
#include <vector>

namespace tallystick::ports {

struct FoundPort {
  std::string node;  ///< "/dev/ttyUSB0"; its number depends on the order of plugging in
  std::string path;  ///< the best key for a configuration: a by-id link, else by-path, else the node
  std::string by_id, by_path;          ///< empty where there is none
  std::string maker, product, serial;  ///< as a USB device names itself; empty where it does not
  std::string driver;                  ///< the kernel's driver: "ftdi_sio", "cdc_acm", "serial8250"
  bool usb = false;
  std::string usb_port;               ///< its socket, as the kernel names it: "1-1.2"
  std::string usb_id;                 ///< vendor:product, "0403:6001"
  int usb_interface = -1;             ///< bInterfaceNumber; -1 where it has none
  std::vector<std::string> warnings;  ///< what to know before it is used
  bool operator==(const FoundPort&) const = default;
};
BOOST_DESCRIBE_STRUCT(FoundPort, (),
                      (node, path, by_id, by_path, maker, product, serial, driver, usb, usb_port, usb_id,
                       usb_interface, warnings))

/// Where to look; tests plant a tree of their own.
struct FoundIn {
  std::filesystem::path devices = "/dev";
  std::filesystem::path classes = "/sys/class/tty";
};

/// Fills `path` and `warnings` from the other members.
void name_best_key(FoundPort& port);

/// USB first, then by node. Lines without hardware behind them (ttyS of a board that has none,
/// pseudo-terminals, consoles) are left out. What cannot be read is left out too. Blocking, shortly; any
/// thread.
std::vector<FoundPort> find_ports(const FoundIn& in = {});

}  // namespace tallystick::ports
