// Of a port whose driver is "keyboard": which device it is, what its keys type, and which of them act.
#pragma once

#include <chrono>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace tallystick::ports {

/// One of the three actions of a bench, or asking a gauge.
enum class KeyDeed : std::uint8_t { good, not_good, again, ask };
/// As the API's "act" names them; "ask".
std::string_view name(KeyDeed deed);

/// A key, or a whole text, that acts instead of being a value.
struct KeyAction {
  std::string key;   ///< a key's name (decode/key_names.hpp); empty: `text`
  std::string text;  ///< what is typed in one burst, without its end
  KeyDeed does = KeyDeed::good;
  std::string gauge;   ///< of `ask`
  std::string reason;  ///< where the action needs one; empty: the page asks
  bool operator==(const KeyAction&) const = default;
};

/// The device is the one that every stated member fits. Vendor and product as USB gives them, -1: any.
struct KeyboardSettings {
  int vendor = -1, product = -1;
  std::string serial;  ///< the USB serial number (EVIOCGUNIQ)
  std::string socket;  ///< where it is plugged in, as the kernel has it (EVIOCGPHYS): "usb-0000:00:14.0-2",
                       ///< with or without "/input0"
  std::string path;    ///< a link or node below /dev/input
  std::string layout = "us";
  bool enter = true, tab = true, gap = false;  ///< what ends a burst
  std::chrono::milliseconds gap_time{100};
  std::chrono::milliseconds repeat_window{300};  ///< the same action again within it counts for nothing
  std::string bench;                             ///< whose actions they are
  std::vector<KeyAction> actions;
  bool operator==(const KeyboardSettings&) const = default;
};

}  // namespace tallystick::ports
