// What doctor says of keyboard ports, on a tree as sysfs has it.
#include <doctest/doctest.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>

#include "tools/cli/doctor.hpp"

namespace tallystick {
namespace {

using namespace cli;
namespace files = std::filesystem;

struct Inputs {
  Inputs() {
    char name[] = "/tmp/tallystick-doctor-XXXXXX";
    root = ::mkdtemp(name);
    in = {root / "dev", root / "sys"};
  }
  ~Inputs() { files::remove_all(root); }
  void add(const std::string& event, const std::string& serial, files::perms mode) const {
    const auto device = in.classes / event / "device";
    files::create_directories(device / "id");
    files::create_directories(device / "capabilities");
    files::create_directories(in.devices);
    std::ofstream(device / "id/vendor") << "1d6b\n";
    std::ofstream(device / "id/product") << "0104\n";
    std::ofstream(device / "uniq") << serial << '\n';
    std::ofstream(device / "name") << "Typing caliper\n";
    std::ofstream(device / "capabilities/key") << "10000ffc\n";  // the digits, Enter
    std::ofstream(in.devices / event) << "";
    files::permissions(in.devices / event, mode);
  }
  files::path root;
  ports::InputRoots in;
};

const Identity stranger{"tallystick", 61234, {61234}};

}  // namespace

TEST_CASE("doctor: a typing gauge that is absent, ambiguous, closed to the daemon, or good") {
  const Inputs inputs;
  ports::KeyboardSettings settings;
  settings.vendor = 0x1d6b;
  settings.product = 0x0104;
  auto found = check_keyboard("caliper", settings, true, stranger, inputs.in);
  CHECK(found.grade == Grade::fault);
  CHECK(found.code == "port_absent");
  CHECK(found.where == "port caliper");

  using files::perms;
  inputs.add("event4", "C-1",
             perms::owner_read | perms::owner_write | perms::group_read | perms::group_write);
  found = check_keyboard("caliper", settings, true, stranger, inputs.in);
  CHECK(found.code == "port_denied");
  CHECK(found.what.find("mode 0660") != std::string::npos);
  CHECK(found.what.find("serial C-1") != std::string::npos);
  CHECK(found.remedy.find("ATTRS{idVendor}==\"1d6b\", ATTRS{idProduct}==\"0104\", GROUP=\"tallystick\"") !=
        std::string::npos);
  CHECK(found.remedy.find("usermod -aG ") != std::string::npos);
  CHECK(found.remedy.find("every keyboard") != std::string::npos);
  CHECK(check_keyboard("caliper", settings, true, {"root", 0, {0}}, inputs.in).grade == Grade::good);
  CHECK(check_keyboard("caliper", settings, true, {"bench", 61234, {61234, ::getegid()}}, inputs.in).grade ==
        Grade::good);

  inputs.add("event5", "C-2", perms::all);
  found = check_keyboard("caliper", settings, true, stranger, inputs.in);
  CHECK(found.code == "port_ambiguous");
  CHECK(found.what.find("event4") != std::string::npos);
  CHECK(found.what.find("event5") != std::string::npos);
  settings.serial = "C-2";
  found = check_keyboard("caliper", settings, true, stranger, inputs.in);
  CHECK(found.grade == Grade::good);
  CHECK(found.remedy.empty());
}

}  // namespace tallystick
