// Text of files as UTF-8. The byte sequences are examples of RFC 3629 and RFC 2781, or broken on purpose.
#include <doctest/doctest.h>

#include "drivers/decode/text_encoding.hpp"

using namespace tallystick;
using namespace std::string_view_literals;

TEST_CASE("a byte order mark wins over what was declared") {
  CHECK(encoding_of("\xEF\xBB\xBF" "1"sv, TextEncoding::latin1).encoding == TextEncoding::utf8);
  CHECK(encoding_of("\xFF\xFE" "1\0"sv, TextEncoding::utf8).encoding == TextEncoding::utf16_low_first);
  CHECK(encoding_of("\xFE\xFF\0" "1"sv, TextEncoding::utf8).mark == 2);
  CHECK(encoding_of("1"sv, TextEncoding::latin1).encoding == TextEncoding::latin1);
  CHECK(encoding_of(""sv, TextEncoding::utf8).mark == 0);
}

TEST_CASE("each encoding gives the same text, and what is none is refused") {
  // RFC 3629, section 7: "A<NOT IDENTICAL TO><ALPHA>." is 41 E2 89 A2 CE 91 2E.
  const auto rfc = "A\xE2\x89\xA2\xCE\x91."sv;
  CHECK(to_utf8(rfc, TextEncoding::utf8) == std::string(rfc));
  CHECK(to_utf8("\0A\x22\x62\x03\x91\0."sv, TextEncoding::utf16_high_first) == std::string(rfc));
  CHECK(to_utf8("A\0\x62\x22\x91\x03.\0"sv, TextEncoding::utf16_low_first) == std::string(rfc));
  CHECK(to_utf8("25,0 \xB5m"sv, TextEncoding::latin1) == std::string("25,0 \xC2\xB5m"));
  // RFC 2781, section 5: U+12345 is D808 DF45.
  CHECK(to_utf8("\xD8\x08\xDF\x45"sv, TextEncoding::utf16_high_first) == std::string("\xF0\x92\x8D\x85"));
  for (const auto bad : {"\xB5m"sv, "\xC0\x80"sv, "\xED\xA0\x80"sv, "\xF5\x80\x80\x80"sv, "\xE2\x89"sv, "\xF0\x80\x80\x80"sv})
    CHECK_FALSE(to_utf8(bad, TextEncoding::utf8).has_value());
  for (const auto bad : {"\xD8\x08"sv, "\xDF\x45\0A"sv, "\xD8\x08\0A"sv, "A"sv})
    CHECK_FALSE(to_utf8(bad, TextEncoding::utf16_high_first).has_value());
}

TEST_CASE("a line feed in UTF-16 is two bytes at an even place") {
  CHECK(line_end("12\n34"sv, 0, TextEncoding::utf8) == 3);
  CHECK(line_end("1\0\n\0"sv, 0, TextEncoding::utf16_low_first) == 4);
  // U+0A00 holds the bytes of a line feed across two characters, and is none.
  CHECK(line_end("\0\x0A\0\x31"sv, 0, TextEncoding::utf16_low_first) == std::string::npos);
  CHECK(line_end("\0\x0A"sv, 0, TextEncoding::utf16_high_first) == 2);
}
