// Which input device a keyboard port means. Reads sysfs, which anybody may; no device is opened for it.
#pragma once

#include <filesystem>
#include <set>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "drivers/ports/keyboard_settings.hpp"

namespace tallystick::ports {

struct FoundKeyboard {
  std::string node;                  ///< "/dev/input/event5"; its number depends on the order of plugging in
  std::string name, serial, socket;  ///< empty where it has none
  int vendor = 0, product = 0;
  std::set<std::uint16_t> keys;  ///< what it can send
};

/// Where to look; tests plant a tree of their own.
struct InputRoots {
  std::filesystem::path devices = "/dev/input";
  std::filesystem::path classes = "/sys/class/input";
};

/// Every input device with keys (power buttons and mice too), by its node's number. What cannot be read is
/// left out. Blocking, shortly.
std::vector<FoundKeyboard> find_keyboards(const InputRoots& in = {});

/// The one of `found` that the settings mean; with `types` it must have digits, else one of the keys that
/// act. Never guesses. Errors: "port_absent" (none fits; the hint lists what is there), "port_ambiguous" (two
/// fit, both are named), "not_a_keyboard" (what fits has none of the keys).
Expected<FoundKeyboard> choose_keyboard(const KeyboardSettings& settings, bool types,
                                        const std::vector<FoundKeyboard>& found, const std::string& where);

/// How the settings say which device it is: "usb 1d6b:0104, serial C-0042"; the path alone where it stands.
std::string key_text(const KeyboardSettings& settings);
/// "event5 (1d6b:0104 "Caliper", serial C-0042, at usb-0000:00:14.0-2/input0)".
std::string described(const FoundKeyboard& one);

}  // namespace tallystick::ports
