#include "drivers/decode/key_names.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "drivers/decode/toml_fields.hpp"

namespace tallystick::decode {
namespace {

using Row = std::pair<std::uint16_t, std::string_view>;

/// Numbers and names of the kernel's <linux/input-event-codes.h>, which a pure room may not include: the keys
/// of keyboards, number pads, pedals and presenters.
constexpr auto table = std::to_array<Row>({
    {1, "esc"},
    {2, "1"},
    {3, "2"},
    {4, "3"},
    {5, "4"},
    {6, "5"},
    {7, "6"},
    {8, "7"},
    {9, "8"},
    {10, "9"},
    {11, "0"},
    {12, "minus"},
    {13, "equal"},
    {14, "backspace"},
    {15, "tab"},
    {16, "q"},
    {17, "w"},
    {18, "e"},
    {19, "r"},
    {20, "t"},
    {21, "y"},
    {22, "u"},
    {23, "i"},
    {24, "o"},
    {25, "p"},
    {26, "leftbrace"},
    {27, "rightbrace"},
    {28, "enter"},
    {29, "leftctrl"},
    {30, "a"},
    {31, "s"},
    {32, "d"},
    {33, "f"},
    {34, "g"},
    {35, "h"},
    {36, "j"},
    {37, "k"},
    {38, "l"},
    {39, "semicolon"},
    {40, "apostrophe"},
    {41, "grave"},
    {42, "leftshift"},
    {43, "backslash"},
    {44, "z"},
    {45, "x"},
    {46, "c"},
    {47, "v"},
    {48, "b"},
    {49, "n"},
    {50, "m"},
    {51, "comma"},
    {52, "dot"},
    {53, "slash"},
    {54, "rightshift"},
    {55, "kpasterisk"},
    {56, "leftalt"},
    {57, "space"},
    {58, "capslock"},
    {59, "f1"},
    {60, "f2"},
    {61, "f3"},
    {62, "f4"},
    {63, "f5"},
    {64, "f6"},
    {65, "f7"},
    {66, "f8"},
    {67, "f9"},
    {68, "f10"},
    {69, "numlock"},
    {70, "scrolllock"},
    {71, "kp7"},
    {72, "kp8"},
    {73, "kp9"},
    {74, "kpminus"},
    {75, "kp4"},
    {76, "kp5"},
    {77, "kp6"},
    {78, "kpplus"},
    {79, "kp1"},
    {80, "kp2"},
    {81, "kp3"},
    {82, "kp0"},
    {83, "kpdot"},
    {86, "102nd"},
    {87, "f11"},
    {88, "f12"},
    {96, "kpenter"},
    {97, "rightctrl"},
    {98, "kpslash"},
    {100, "rightalt"},
    {102, "home"},
    {103, "up"},
    {104, "pageup"},
    {105, "left"},
    {106, "right"},
    {107, "end"},
    {108, "down"},
    {109, "pagedown"},
    {110, "insert"},
    {111, "delete"},
    {113, "mute"},
    {114, "volumedown"},
    {115, "volumeup"},
    {116, "power"},
    {117, "kpequal"},
    {118, "kpplusminus"},
    {119, "pause"},
    {121, "kpcomma"},
    {125, "leftmeta"},
    {126, "rightmeta"},
    {127, "compose"},
    {128, "stop"},
    {131, "undo"},
    {138, "help"},
    {139, "menu"},
    {140, "calc"},
    {141, "setup"},
    {158, "back"},
    {159, "forward"},
    {163, "nextsong"},
    {164, "playpause"},
    {165, "previoussong"},
    {166, "stopcd"},
    {172, "homepage"},
    {173, "refresh"},
    {179, "kpleftparen"},
    {180, "kprightparen"},
    {183, "f13"},
    {184, "f14"},
    {185, "f15"},
    {186, "f16"},
    {187, "f17"},
    {188, "f18"},
    {189, "f19"},
    {190, "f20"},
    {191, "f21"},
    {192, "f22"},
    {193, "f23"},
    {194, "f24"},
    {210, "print"},
    {217, "search"},
});

}  // namespace

std::string key_name(std::uint16_t code) {
  const auto row =
      std::find_if(table.begin(), table.end(), [&](const Row& one) { return one.first == code; });
  return row == table.end() ? "key " + std::to_string(code) : std::string(row->second);
}

std::optional<std::uint16_t> key_named(std::string_view name) {
  const auto row =
      std::find_if(table.begin(), table.end(), [&](const Row& one) { return one.second == name; });
  return row == table.end() ? std::nullopt : std::optional(row->first);
}

std::string nearest_key_name(std::string_view name) {
  std::vector<std::string_view> names;
  for (const auto& row : table) names.push_back(row.second);
  return nearest(name, names);
}

}  // namespace tallystick::decode
