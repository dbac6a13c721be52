// Text of files as UTF-8, whatever it is written in. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"

namespace tallystick {

enum class TextEncoding : std::uint8_t { utf8, latin1, utf16_low_first, utf16_high_first };

/// What a byte order mark at the front says, and how long it is; without one `declared`.
struct FoundEncoding {
  TextEncoding encoding = TextEncoding::utf8;
  std::size_t mark = 0;  ///< bytes
};
FoundEncoding encoding_of(std::string_view front, TextEncoding declared);

/// Bytes that one unit of the encoding takes: 2 for UTF-16, else 1.
std::size_t unit_of(TextEncoding encoding);
/// Where the first line feed at or behind `from` ends (a multiple of unit_of), or npos.
std::size_t line_end(std::string_view bytes, std::size_t from, TextEncoding encoding);

/// Error "not_text": what is no such text, and where.
Expected<std::string> to_utf8(std::string_view bytes, TextEncoding encoding);

}  // namespace tallystick
