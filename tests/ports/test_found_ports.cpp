// Which serial lines are found in a planted tree of /sys/class/tty and /dev/serial. The layout is the
// kernel's, as Documentation/ABI/testing/sysfs-tty and the links of systemd's 60-serial.rules describe it.
// Invented adapters.
#include <doctest/doctest.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>

#include "drivers/ports/found_ports.hpp"

using namespace tallystick::ports;
namespace files = std::filesystem;

namespace {

class Machine {
 public:
  Machine() {
    std::string name = (files::temp_directory_path() / "tallystick-found-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    root_ = name;
    for (const char* folder : {"dev/serial/by-id", "dev/serial/by-path", "sys/tty"})
      files::create_directories(root_ / folder);
  }
  ~Machine() { files::remove_all(root_); }
  Machine(const Machine&) = delete;
  Machine& operator=(const Machine&) = delete;

  void write(const files::path& file, const std::string& text) {
    files::create_directories((root_ / file).parent_path());
    std::ofstream(root_ / file) << text << '\n';
  }
  void driver(const std::string& device, const std::string& name) {
    files::create_directories(root_ / device);
    files::create_directories(root_ / "sys/drivers" / name);
    files::create_directory_symlink(root_ / "sys/drivers" / name, root_ / device / "driver");
  }
  /// A tty with hardware behind it, below `device`.
  void tty(const std::string& name, const std::string& device, const std::string& driver) {
    this->driver(device, driver);
    files::create_directories(root_ / "sys/tty" / name);
    files::create_directory_symlink(root_ / device, root_ / "sys/tty" / name / "device");
  }
  void usb(const std::string& folder, const std::string& product, const std::string& serial) {
    write(folder + "/idVendor", "0000");
    write(folder + "/manufacturer", "Invented");
    write(folder + "/product", product);
    if (!serial.empty()) write(folder + "/serial", serial);
  }
  void link(const std::string& folder, const std::string& name, const std::string& node) {
    files::create_symlink("../../" + node, root_ / "dev/serial" / folder / name);
  }
  std::vector<FoundPort> find() const { return find_ports({root_ / "dev", root_ / "sys/tty"}); }
  std::string dev(const std::string& name) const { return (root_ / "dev" / name).string(); }

 private:
  files::path root_;
};

}  // namespace

TEST_CASE("a machine without serial lines has none, and none is no error") {
  const Machine machine;
  CHECK(machine.find().empty());
  CHECK(find_ports({"/nowhere/dev", "/nowhere/sys"}).empty());
}

TEST_CASE("an adapter is named by its serial number, one without by its socket") {
  Machine machine;
  machine.usb("sys/bus/1-1", "Line Adapter", "A9K3");
  machine.tty("ttyUSB1", "sys/bus/1-1/if0/ttyUSB1", "line_sio");
  machine.link("by-id", "usb-Invented_A9K3-if00", "ttyUSB1");
  machine.link("by-path", "pci-0-usb-0:1", "ttyUSB1");
  machine.usb("sys/bus/1-2", "Other Adapter", "");
  machine.tty("ttyUSB0", "sys/bus/1-2/if0/ttyUSB0", "line_sio");
  machine.link("by-id", "usb-Invented_Other-if00", "ttyUSB0");
  machine.link("by-path", "pci-0-usb-0:2", "ttyUSB0");
  machine.usb("sys/bus/1-3", "Class Modem", "X");
  machine.tty("ttyACM0", "sys/bus/1-3/if0", "cdc_acm");
  const auto found = machine.find();
  REQUIRE(found.size() == 3);
  CHECK(found[0].node == machine.dev("ttyACM0"));
  CHECK(found[0].path == found[0].node);
  REQUIRE(found[0].warnings.size() == 1);
  CHECK(found[0].warnings[0].find("no stable name") != std::string::npos);
  CHECK(found[1].node == machine.dev("ttyUSB0"));
  CHECK(found[1].path == machine.dev("serial/by-path/pci-0-usb-0:2"));
  REQUIRE(found[1].warnings.size() == 1);
  CHECK(found[2].path == machine.dev("serial/by-id/usb-Invented_A9K3-if00"));
  CHECK(found[2].maker == "Invented");
  CHECK(found[2].product == "Line Adapter");
  CHECK(found[2].serial == "A9K3");
  CHECK(found[2].driver == "line_sio");
  CHECK(found[2].usb);
  CHECK(found[2].warnings.empty());
}

TEST_CASE("a board's line counts where it is there; consoles and the board's empty places do not") {
  Machine machine;
  machine.tty("ttyS0", "sys/board/a/serial8250/port0", "port");  // as kernels from 6.6 on lay it out
  machine.driver("sys/board/a/serial8250", "serial8250");
  machine.write("sys/tty/ttyS0/type", "4");
  machine.tty("ttyS1", "sys/board/b", "serial8250");
  machine.write("sys/tty/ttyS1/type", "0");  // PORT_UNKNOWN of the kernel's serial_core
  machine.write("sys/tty/tty0/dev", "4:0");
  machine.usb("sys/bus/1-1", "Line Adapter", "A9K3");
  machine.tty("ttyUSB7", "sys/bus/1-1/if0/ttyUSB7", "line_sio");
  const auto found = machine.find();
  REQUIRE(found.size() == 2);
  CHECK(found[0].node == machine.dev("ttyUSB7"));  // USB first
  CHECK(found[1].node == machine.dev("ttyS0"));
  CHECK_FALSE(found[1].usb);
  CHECK(found[1].driver == "serial8250");
  CHECK(found[1].warnings.empty());  // a board's number does not change
}
