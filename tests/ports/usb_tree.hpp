// A machine's USB serial lines as a tree of files, as the kernel shows them below /sys and /dev
// (Documentation/ABI/testing/sysfs-bus-usb, sysfs-class-tty); pseudo-terminals play the lines. Invented
// adapters.
#pragma once

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "drivers/ports/found_ports.hpp"
#include "port_rig.hpp"

namespace tallystick::ports::test {

struct Adapter {
  std::string node;    ///< "ttyUSB0"
  std::string socket;  ///< "1-1.2"
  std::string serial;  ///< empty: it has none
  std::string id = "1209:0001";
  int interface = 0;
};

class UsbTree {
 public:
  UsbTree() {
    std::filesystem::create_directories(folder_ / "dev");
    std::filesystem::create_directories(folder_ / "class");
  }
  void plug(const Adapter& adapter, const std::string& terminal) const {
    const std::string device = folder_ / ("devices/" + adapter.socket);
    const std::string interface = device + "/" + adapter.socket + ":1." + std::to_string(adapter.interface);
    const std::string line = interface + "/" + adapter.node;
    std::filesystem::create_directories(line);
    write(device + "/idVendor", adapter.id.substr(0, 4));
    write(device + "/idProduct", adapter.id.substr(5));
    if (!adapter.serial.empty()) write(device + "/serial", adapter.serial);
    write(interface + "/bInterfaceNumber", "0" + std::to_string(adapter.interface));
    const std::string driver = folder_ / "drivers/line_sio";
    std::filesystem::create_directories(driver);
    std::filesystem::create_directory_symlink(driver, line + "/driver");
    const std::string tty = folder_ / ("class/" + adapter.node);
    std::filesystem::create_directories(tty);
    std::filesystem::create_directory_symlink(line, tty + "/device");
    std::filesystem::create_symlink(terminal, node(adapter.node));
  }
  /// The node goes first, as its line does; then the device with all its interfaces.
  void pull(const Adapter& adapter) const {
    std::filesystem::remove(node(adapter.node));
    std::filesystem::remove_all(folder_ / ("class/" + adapter.node));
    std::filesystem::remove_all(folder_ / ("devices/" + adapter.socket));
  }
  std::string node(const std::string& name) const { return folder_ / ("dev/" + name); }
  std::vector<FoundPort> lines() const { return find_ports({folder_ / "dev", folder_ / "class"}); }

 private:
  static void write(const std::string& file, const std::string& text) { std::ofstream(file) << text << '\n'; }
  Folder folder_;
};

}  // namespace tallystick::ports::test
