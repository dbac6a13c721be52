// A text as a basic string of TOML, with its quotation marks.
#pragma once

#include <string>

namespace tallystick {

inline std::string toml_text(const std::string& text) {
  constexpr const char* digits = "0123456789ABCDEF";
  std::string out = "\"";
  for (const char letter : text) {
    const auto code = static_cast<unsigned char>(letter);
    if (letter == '"' || letter == '\\')
      out += std::string("\\") + letter;
    else if (code < 0x20 || code == 0x7F)
      out += std::string("\\u00") + digits[code >> 4U] + digits[code & 15U];
    else
      out += letter;
  }
  return out + "\"";
}

}  // namespace tallystick
