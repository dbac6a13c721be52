// The named parts of a frame, as views into its bytes.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace tallystick::decode {

enum class Field : std::uint8_t { value, sign, unit, channel, status };
inline constexpr std::size_t field_count = 5;
inline constexpr std::array<std::string_view, field_count> field_names{"value", "sign", "unit", "channel",
                                                                       "status"};

/// Which parts were found. A part that is absent has no data() (an empty one has).
struct Fields {
  std::array<std::string_view, field_count> parts{};
  std::string_view& operator[](Field field) { return parts[static_cast<std::size_t>(field)]; }
  std::string_view operator[](Field field) const { return parts[static_cast<std::size_t>(field)]; }
  bool has(Field field) const { return (*this)[field].data() != nullptr; }
};

inline std::optional<Field> field_named(std::string_view name) {
  for (std::size_t i = 0; i < field_count; ++i) {
    if (field_names[i] == name) return static_cast<Field>(i);
  }
  return std::nullopt;
}

}  // namespace tallystick::decode
