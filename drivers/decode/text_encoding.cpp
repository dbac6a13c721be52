#include "drivers/decode/text_encoding.hpp"

namespace tallystick {
namespace {

using namespace std::string_view_literals;

unsigned at(std::string_view bytes, std::size_t place) { return static_cast<unsigned char>(bytes[place]); }

void append(std::string& out, char32_t point) {
  const auto put = [&](char32_t byte) { out += static_cast<char>(static_cast<unsigned char>(byte)); };
  if (point < 0x80) {
    put(point);
  } else if (point < 0x800) {
    put(0xC0 | point >> 6U);
    put(0x80 | (point & 0x3F));
  } else if (point < 0x10000) {
    put(0xE0 | point >> 12U);
    put(0x80 | (point >> 6U & 0x3F));
    put(0x80 | (point & 0x3F));
  } else {
    put(0xF0 | point >> 18U);
    put(0x80 | (point >> 12U & 0x3F));
    put(0x80 | (point >> 6U & 0x3F));
    put(0x80 | (point & 0x3F));
  }
}

tl::unexpected<Error> no_text(const char* what, std::size_t place) {
  return fail("not_text", "byte " + std::to_string(place + 1) + " is no " + what, {},
              "look at the encoding that the instrument's software writes");
}

/// Length of the sequence at `place`, 0 where it is none (RFC 3629: no overlong form, no surrogate).
std::size_t utf8_sequence(std::string_view bytes, std::size_t place) {
  const unsigned first = at(bytes, place);
  const std::size_t size = first < 0x80   ? 1
                           : first < 0xC2 ? 0
                           : first < 0xE0 ? 2
                           : first < 0xF0 ? 3
                           : first < 0xF5 ? 4
                                          : 0;
  if (size == 0 || place + size > bytes.size()) return 0;
  for (std::size_t n = 1; n < size; ++n) {
    if ((at(bytes, place + n) & 0xC0U) != 0x80) return 0;
  }
  if (size < 3) return size;
  const unsigned second = at(bytes, place + 1);
  const bool bad = (first == 0xE0 && second < 0xA0) || (first == 0xED && second >= 0xA0) ||
                   (first == 0xF0 && second < 0x90) || (first == 0xF4 && second >= 0x90);
  return bad ? 0 : size;
}

Expected<std::string> from_utf16(std::string_view bytes, bool low_first) {
  if (bytes.size() % 2 != 0) return no_text("whole UTF-16 unit", bytes.size() - 1);
  const auto unit = [&](std::size_t place) -> char32_t {
    return low_first ? at(bytes, place) | at(bytes, place + 1) << 8U
                     : at(bytes, place) << 8U | at(bytes, place + 1);
  };
  std::string out;
  for (std::size_t place = 0; place < bytes.size(); place += 2) {
    char32_t point = unit(place);
    if (point >= 0xD800 && point < 0xE000) {
      const char32_t low = place + 3 < bytes.size() ? unit(place + 2) : 0;
      if (point >= 0xDC00 || low < 0xDC00 || low >= 0xE000) return no_text("UTF-16 character", place);
      point = 0x10000 + ((point - 0xD800) << 10U) + (low - 0xDC00);
      place += 2;
    }
    append(out, point);
  }
  return out;
}

}  // namespace

FoundEncoding encoding_of(std::string_view front, TextEncoding declared) {
  if (front.starts_with("\xEF\xBB\xBF"sv)) return {TextEncoding::utf8, 3};
  if (front.starts_with("\xFF\xFE"sv)) return {TextEncoding::utf16_low_first, 2};
  if (front.starts_with("\xFE\xFF"sv)) return {TextEncoding::utf16_high_first, 2};
  return {declared, 0};
}

std::size_t unit_of(TextEncoding encoding) {
  return encoding == TextEncoding::utf16_low_first || encoding == TextEncoding::utf16_high_first ? 2 : 1;
}

std::size_t line_end(std::string_view bytes, std::size_t from, TextEncoding encoding) {
  if (unit_of(encoding) == 1) {
    const auto found = bytes.find('\n', from);
    return found == std::string_view::npos ? found : found + 1;
  }
  const auto feed = encoding == TextEncoding::utf16_low_first ? "\n\0"sv : "\0\n"sv;
  for (std::size_t place = from; place + 2 <= bytes.size(); place += 2) {
    if (bytes.substr(place, 2) == feed) return place + 2;
  }
  return std::string_view::npos;
}

Expected<std::string> to_utf8(std::string_view bytes, TextEncoding encoding) {
  if (unit_of(encoding) == 2) return from_utf16(bytes, encoding == TextEncoding::utf16_low_first);
  std::string out;
  if (encoding == TextEncoding::latin1) {
    for (std::size_t place = 0; place < bytes.size(); ++place) append(out, at(bytes, place));
    return out;
  }
  for (std::size_t place = 0; place < bytes.size();) {
    const std::size_t size = utf8_sequence(bytes, place);
    if (size == 0) return no_text("UTF-8 character", place);
    place += size;
  }
  return std::string(bytes);
}

}  // namespace tallystick
