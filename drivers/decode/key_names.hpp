// Keys by number and by name: what the kernel's input devices report, and how a configuration names it. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace tallystick::decode {

/// The numbers that the rest of this room speaks of (<linux/input-event-codes.h>).
namespace key {
inline constexpr std::uint16_t one = 2, nine = 10, zero = 11, tab = 15, enter = 28, left_ctrl = 29,
                               left_shift = 42, right_shift = 54, left_alt = 56, space = 57, caps_lock = 58,
                               num_lock = 69, scroll_lock = 70, keypad_seven = 71, keypad_one = 79,
                               keypad_zero = 82, keypad_enter = 96, right_ctrl = 97, right_alt = 100,
                               left_meta = 125, right_meta = 126;
}

/// The kernel's name in small letters without KEY_: "f13", "kp1", "enter"; "key 240" where it has none here.
std::string key_name(std::uint16_t code);
/// Empty: no such name.
std::optional<std::uint16_t> key_named(std::string_view name);
/// The name nearest to a slip of the finger; empty where none is near.
std::string nearest_key_name(std::string_view name);

}  // namespace tallystick::decode
