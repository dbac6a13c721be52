#include "daemon/export/json_lines.hpp"

#include <array>
#include <cstddef>
#include <cstdint>

namespace tallystick::exporting {
namespace {

enum : std::uint8_t { escape = 1, beyond_ascii = 2 };

constexpr std::array<std::uint8_t, 256> table = [] {
  std::array<std::uint8_t, 256> out{};
  for (std::size_t byte = 0; byte < 0x20; ++byte) out[byte] = escape;
  out['"'] = out['\\'] = escape;
  for (std::size_t byte = 0x80; byte < 0x100; ++byte) out[byte] = beyond_ascii;
  return out;
}();

std::uint8_t asks(char letter) { return table[static_cast<unsigned char>(letter)]; }

void append_escaped(std::string& out, char letter) {
  constexpr std::string_view digits = "0123456789abcdef";
  switch (letter) {
    case '"':
      out += "\\\"";
      return;
    case '\\':
      out += "\\\\";
      return;
    case '\n':
      out += "\\n";
      return;
    case '\r':
      out += "\\r";
      return;
    case '\t':
      out += "\\t";
      return;
    default:
      out += "\\u00";
      out += digits[static_cast<unsigned char>(letter) >> 4U];
      out += digits[static_cast<unsigned char>(letter) & 15U];
  }
}

// Bytes of the well-formed UTF-8 sequence (RFC 3629, section 4) that `text` begins with; 0: none.
std::size_t sequence_length(std::string_view text) {
  const auto byte = [&text](std::size_t index) { return static_cast<unsigned char>(text[index]); };
  const auto first = byte(0);
  const std::size_t length = first >= 0xf0 ? 4 : first >= 0xe0 ? 3 : 2;
  if (first < 0xc2 || first > 0xf4 || text.size() < length) return 0;
  for (std::size_t index = 1; index < length; ++index)
    if ((byte(index) & 0xc0U) != 0x80U) return 0;
  if (first == 0xe0 && byte(1) < 0xa0) return 0;        // written too long
  if (first == 0xed && byte(1) > 0x9f) return 0;        // a surrogate
  if (first == 0xf0 && byte(1) < 0x90) return 0;        // written too long
  return first == 0xf4 && byte(1) > 0x8f ? 0 : length;  // beyond U+10FFFF
}

}  // namespace

void append_json_string(std::string& out, std::string_view text) {
  out += '"';
  std::size_t copied = 0;
  for (std::size_t index = 0; index < text.size();) {
    const auto asked = asks(text[index]);
    if (asked == 0) {
      ++index;
      continue;
    }
    if (asked == beyond_ascii) {
      if (const auto length = sequence_length(text.substr(index)); length != 0) {
        index += length;
        continue;
      }
    }
    out.append(text, copied, index - copied);
    if (asked == escape) {
      append_escaped(out, text[index]);
    } else {
      out += "\xef\xbf\xbd";
    }
    copied = ++index;
  }
  out.append(text, copied);
  out += '"';
}

}  // namespace tallystick::exporting
