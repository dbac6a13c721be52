// A USB serial line's identity: the words by which a configuration names the adapter (or its socket) instead
// of a node whose number changes with the order of plugging in.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "drivers/ports/found_ports.hpp"

namespace tallystick::ports {

/// `serial`: the device's serial number (iSerialNumber of the USB specification), wherever it is plugged in.
/// `port`: the socket, as the kernel names it: "1-1.2" is bus 1, its port 1, port 2 of the hub there. `id`:
/// vendor:product, "0403:6001", for the only one of its kind. `interface` narrows each of them, for adapters
/// with several lines (bInterfaceNumber).
struct UsbKey {
  enum class By : std::uint8_t { none, serial, port, id };
  By by = By::none;
  std::string value;
  int interface = -1;  ///< -1: any
  explicit operator bool() const { return by != By::none; }
  bool operator==(const UsbKey&) const = default;
};

/// Of the texts of a configuration, of which at most one is not empty.
UsbKey usb_key(const std::string& serial, const std::string& port, const std::string& id, int interface);
/// As a configuration and a status name it: "usb_serial A1", "usb_id 0403:6001, interface 1".
std::string text(const UsbKey& key);
bool matches(const UsbKey& key, const FoundPort& line);

/// The key for `line` that names it and no other line of `all`, as a line of a configuration:
/// `usb_serial = "A1"`, else `usb_port = "1-1.2"`; empty where it is no USB line.
std::string better_key(const FoundPort& line, const std::vector<FoundPort>& all);

/// Which line a key names, through plugging and unplugging. It never guesses: where two lines match, none is
/// taken; and once two have matched, only the one that was held before (by its socket) is, until the
/// configuration is read anew.
class UsbChoice {
 public:
  explicit UsbChoice(UsbKey key) : key_(std::move(key)) {}

  /// Errors: "port_absent" (what is plugged in instead stands in the hint), "port_ambiguous" (all that match,
  /// with node and socket). `port` is the port's name, for the message. Opens nothing.
  Expected<FoundPort> among(const std::vector<FoundPort>& lines, const std::string& port);
  /// The line that `among` told last is held now.
  void opened() { place_ = told_; }

 private:
  UsbKey key_;
  std::string told_, place_;  ///< sockets of the lines told and held last; empty: none yet
  bool twins_seen_ = false;
};

/// For a link of /dev/serial/by-id: error "port_ambiguous" where another adapter names itself like the one
/// that it leads to (they share the link, and it moves between them). `node` is what it leads to.
Done only_of_its_name(const std::string& link, const std::string& node, const std::vector<FoundPort>& lines,
                      const std::string& port);

}  // namespace tallystick::ports
