// Of a port whose driver is "keyboard": which device it is, for which layout it types, which keys and texts
// act. Pure.
#pragma once

#include <boost/describe.hpp>
#include <string>
#include <vector>

namespace tallystick::checklist {
class TomlText;
class TomlTable;
}  // namespace tallystick::checklist

namespace tallystick::shop {

/// A key or a whole text that acts instead of being a value. One of `key` and `text` is set.
struct KeyActionCard {
  std::string key;     ///< "f13": the kernel's name of the key in small letters
  std::string text;    ///< "CARD-GOOD"
  std::string does;    ///< "good" | "not_good" | "again" | "ask"
  std::string gauge;   ///< of "ask"
  std::string reason;  ///< of the shop's lists, where the action needs one; empty: the page asks
  bool operator==(const KeyActionCard&) const = default;
};
BOOST_DESCRIBE_STRUCT(KeyActionCard, (), (key, text, does, gauge, reason))

/// What is stated of a device must fit it, all of it.
struct KeyboardCard {
  std::string usb;     ///< "1d6b:0104": vendor and product as USB gives them
  std::string serial;  ///< its USB serial number
  std::string socket;  ///< where it is plugged in, as the kernel has it: "usb-0000:00:14.0-2"
  std::string layout = "us";
  std::vector<std::string> ends = {"enter", "tab"};  ///< "enter", "tab", "gap"
  int gap_ms = 100;
  double repeat_window_s = 0.3;
  std::string bench;  ///< whose actions they are
  std::vector<KeyActionCard> actions;
  bool operator==(const KeyboardCard&) const = default;
};
BOOST_DESCRIBE_STRUCT(KeyboardCard, (),
                      (usb, serial, socket, layout, ends, gap_ms, repeat_window_s, bench, actions))

/// Vendor and product of "1d6b:0104"; -1 each where it is empty (or nothing of the kind).
struct UsbNumbers {
  int vendor = -1, product = -1;
};
UsbNumbers usb_numbers(const std::string& usb);

/// Reads the keys of a keyboard port but for `path`, noting every fault at its place.
KeyboardCard read_keyboard(const checklist::TomlText& text, checklist::TomlTable& port);

/// What tells the device, for people: "usb 1d6b:0104, serial C-0042"; `path` alone where it is all.
std::string device_text(const KeyboardCard& card, const std::string& path);

/// The first key that acts and is typed as well, so that texts and values would lack it; empty: none.
std::string key_taken_from_texts(const KeyboardCard& card);

}  // namespace tallystick::shop
