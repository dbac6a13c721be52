// Which device is meant, on a tree as sysfs has it.
#include <fstream>

#include "key_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;

namespace {

struct Tree {
  Folder folder;
  InputRoots roots{folder / "dev", folder / "sys"};

  void add(const std::string& event, const std::string& name, const std::string& vendor,
           const std::string& product, const std::string& serial, const std::string& socket,
           const std::set<std::uint16_t>& keys) const {
    const auto device = roots.classes / event / "device";
    std::filesystem::create_directories(device / "id");
    std::filesystem::create_directories(device / "capabilities");
    std::filesystem::create_directories(roots.devices);
    const auto write = [&](const std::string& file, const std::string& text) {
      std::ofstream(device / file) << text << '\n';
    };
    write("name", name);
    write("uniq", serial);
    write("phys", socket);
    write("id/vendor", vendor);
    write("id/product", product);
    write("capabilities/key", keys.empty() ? "0" : capability_words(keys));
    std::ofstream(roots.devices / event) << "";
  }
};

const std::set<std::uint16_t> typing = {2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 28, 52};
const std::set<std::uint16_t> pad = {71, 72, 73, 79, 80, 81, 82, 83, 96};
const std::set<std::uint16_t> power = {116};

KeyboardSettings wanted(int vendor, int product) {
  KeyboardSettings out;
  out.vendor = vendor;
  out.product = product;
  return out;
}

}  // namespace

TEST_CASE("what sysfs says of input devices is read, by number, without opening one") {
  Tree tree;
  tree.add("event10", "Typing caliper", "1d6b", "0104", "C-0042", "usb-0000:00:14.0-2/input0", typing);
  tree.add("event2", "Power Button", "0000", "0000", "", "LNXPWRBN/button/input0", power);
  tree.add("event3", "Lid", "0000", "0000", "", "", {});
  std::filesystem::create_directories(tree.roots.classes / "mice");
  const auto found = find_keyboards(tree.roots);
  REQUIRE(found.size() == 2);
  CHECK(found[0].node == (tree.roots.devices / "event2").string());
  CHECK(found[0].keys == power);
  CHECK(found[1].node == (tree.roots.devices / "event10").string());
  CHECK(found[1].vendor == 0x1d6b);
  CHECK(found[1].product == 0x0104);
  CHECK(found[1].serial == "C-0042");
  CHECK(found[1].socket == "usb-0000:00:14.0-2/input0");
  CHECK(found[1].keys == typing);
  CHECK(described(found[1]) ==
        "event10 (1d6b:0104 \"Typing caliper\", serial C-0042, at usb-0000:00:14.0-2/input0)");
  CHECK(find_keyboards({"/nowhere", "/nowhere"}).empty());
}

TEST_CASE("the one device that fits is taken; two are named and refused; none says what there is") {
  Tree tree;
  tree.add("event1", "Caliper", "1d6b", "0104", "C-0042", "usb-0000:00:14.0-2/input0", typing);
  tree.add("event2", "Caliper", "1d6b", "0104", "C-0043", "usb-0000:00:14.0-3/input0", typing);
  tree.add("event3", "Number pad", "1d6b", "0105", "", "usb-0000:00:14.0-4/input0", pad);
  tree.add("event4", "Number pad", "1d6b", "0105", "", "usb-0000:00:14.0-4/input1", power);
  const auto found = find_keyboards(tree.roots);
  const auto choose = [&](const KeyboardSettings& settings, bool types = true) {
    return choose_keyboard(settings, types, found, "port p");
  };
  SUBCASE("by vendor and product, where only one types") {
    const auto one = choose(wanted(0x1d6b, 0x0105));
    REQUIRE(one);
    CHECK(one->node.ends_with("event3"));
  }
  SUBCASE("two of one kind are ambiguous") {
    const auto two = choose(wanted(0x1d6b, 0x0104));
    REQUIRE(!two);
    CHECK(two.error().code == "port_ambiguous");
    CHECK(two.error().what.find("event1 (") != std::string::npos);
    CHECK(two.error().what.find("serial C-0042") != std::string::npos);
    CHECK(two.error().what.find("event2 (") != std::string::npos);
    CHECK(two.error().what.find("serial C-0043") != std::string::npos);
    CHECK(two.error().hint.find("serial") != std::string::npos);
  }
  SUBCASE("their serial number tells them apart") {
    auto settings = wanted(0x1d6b, 0x0104);
    settings.serial = "C-0043";
    REQUIRE(choose(settings));
    CHECK(choose(settings)->node.ends_with("event2"));
    settings.vendor = settings.product = -1;
    CHECK(choose(settings)->node.ends_with("event2"));
    settings.serial = "C-0044";
    CHECK(choose(settings).error().code == "port_absent");
  }
  SUBCASE("so does the socket, with or without its interface") {
    KeyboardSettings settings;
    settings.socket = "usb-0000:00:14.0-3";
    REQUIRE(choose(settings));
    CHECK(choose(settings)->node.ends_with("event2"));
    settings.socket = "usb-0000:00:14.0-4/input0";
    CHECK(choose(settings)->node.ends_with("event3"));
    settings.socket = "usb-0000:00:14.0-";
    CHECK(choose(settings).error().code == "port_absent");
  }
  SUBCASE("so does a link") {
    KeyboardSettings settings;
    settings.path = tree.folder.link("by-path", (tree.roots.devices / "event2").string());
    REQUIRE(choose(settings));
    CHECK(choose(settings)->node.ends_with("event2"));
    settings.path = tree.folder / "missing";
    CHECK(choose(settings).error().code == "port_absent");
    CHECK(choose(settings).error().what.find(settings.path) != std::string::npos);
  }
  SUBCASE("none fits: what there is stands in the hint") {
    const auto none = choose(wanted(0x1d6b, 0x9999));
    REQUIRE(!none);
    CHECK(none.error().code == "port_absent");
    CHECK(none.error().what.find("usb 1d6b:9999") != std::string::npos);
    CHECK(none.error().hint.find("serial C-0042") != std::string::npos);
  }
  SUBCASE("what fits but cannot type is named") {
    KeyboardSettings settings;
    settings.socket = "usb-0000:00:14.0-4/input1";
    CHECK(choose(settings).error().code == "not_a_keyboard");
  }
  SUBCASE("a pedal needs no digits, but one of its keys") {
    KeyboardSettings settings = wanted(0x1d6b, 0x0105);
    settings.actions.push_back({"power", "", KeyDeed::good, "", ""});
    REQUIRE(choose(settings, false));
    CHECK(choose(settings, false)->node.ends_with("event4"));
    settings.actions.front().key = "f13";
    CHECK(choose(settings, false).error().code == "not_a_keyboard");
  }
}

TEST_CASE("a device is named for people by all that was stated of it") {
  KeyboardSettings settings = wanted(0x1d6b, 0x0104);
  settings.serial = "C-0042";
  CHECK(key_text(settings) == "usb 1d6b:0104, serial C-0042");
  settings = {};
  settings.path = "/dev/input/by-path/x-event-kbd";
  CHECK(key_text(settings) == settings.path);
}
