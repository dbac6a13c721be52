#include "daemon/measure/error.hpp"

namespace tallystick {

std::string quoted(std::string_view found) {
  constexpr std::size_t most_shown = 60;
  constexpr std::string_view digits = "0123456789abcdef";
  std::string out = "\"";
  for (const char c : found.substr(0, most_shown)) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x20 && byte < 0x7f) {
      out += c;
    } else {
      out += "\\x";
      out += digits[byte >> 4U];
      out += digits[byte & 0xfU];
    }
  }
  out += '"';
  if (found.size() > most_shown) out += "... (" + std::to_string(found.size()) + " bytes)";
  return out;
}

}  // namespace tallystick
