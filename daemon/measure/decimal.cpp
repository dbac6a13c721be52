#include "daemon/measure/decimal.hpp"

#include <algorithm>

namespace tallystick::decimal {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// Says what is wrong with a text that is not a plain decimal, as a person would.
std::string finding(std::string_view text, std::size_t place, char decimal_mark) {
  const char mark_there = decimal_mark == '.' ? ',' : '.';
  const std::string at = " at character " + std::to_string(place + 1);
  if (place >= text.size()) return "no digit at its end";
  const char c = text[place];
  if (c == ' ' || c == '\t' || c == '\r' || c == '\n') return "a blank" + at;
  if (c == mark_there) return std::string("'") + c + "'" + at;
  if (c == decimal_mark) return std::string("a second '") + c + "'" + at;
  if ((c == 'e' || c == 'E') && place > 0 && is_digit(text[place - 1])) return "an exponent" + at;
  if (c == '+' || c == '-') return "a sign" + at;
  return quoted(text.substr(place, 1)) + at;
}

std::string remedy(std::string_view text, std::size_t place, char decimal_mark) {
  const char other = decimal_mark == '.' ? ',' : '.';
  if (place < text.size() && text[place] == other) {
    return std::string("the decimal mark here is '") + decimal_mark + "', and there are no thousands marks";
  }
  return std::string("write digits with at most one '") + decimal_mark +
         "' and a sign before them, such as -12" + decimal_mark + "345";
}

tl::unexpected<Error> not_a_decimal(std::string_view text, std::size_t place, char decimal_mark) {
  return fail("not_a_decimal",
              quoted(text) + " is not a plain decimal: " + finding(text, place, decimal_mark), {},
              remedy(text, place, decimal_mark));
}

}  // namespace

Expected<Plain> read(std::string_view text, char decimal_mark) {
  if (text.empty()) return fail("empty", "a number is missing: the text is empty");
  Plain plain;
  std::size_t place = 0;
  if (text[0] == '+' || text[0] == '-') {
    plain.negative = text[0] == '-';
    place = 1;
  }
  constexpr whole::Wide largest = whole::power_of_ten(18) * 10;  // above every int64
  const std::size_t integer_at = place;
  for (; place < text.size() && is_digit(text[place]); ++place) {
    if (plain.integer < largest) plain.integer = plain.integer * 10 + (text[place] - '0');
  }
  plain.too_large = plain.integer >= largest;
  if (place == text.size()) {
    if (place == integer_at) return not_a_decimal(text, place, decimal_mark);
    return plain;
  }
  if (text[place] != decimal_mark) return not_a_decimal(text, place, decimal_mark);
  const std::size_t fraction_at = ++place;
  while (place < text.size() && is_digit(text[place])) ++place;
  if (place < text.size() || place == fraction_at) return not_a_decimal(text, place, decimal_mark);
  while (place > fraction_at && text[place - 1] == '0') --place;  // trailing zeros hold nothing
  const auto digits = text.substr(fraction_at, place - fraction_at);
  plain.too_fine = digits.size() > static_cast<std::size_t>(whole::most_places);
  if (plain.too_fine) return plain;
  plain.places = static_cast<int>(digits.size());
  for (const char c : digits) plain.fraction = plain.fraction * 10 + (c - '0');
  return plain;
}

std::string write(whole::Wide digits, int places, int least_decimals) {
  const bool negative = digits < 0;
  if (negative) digits = -digits;
  std::string reversed;
  do {
    reversed += static_cast<char>('0' + static_cast<int>(digits % 10));
    digits /= 10;
  } while (digits != 0);
  const auto decimals = static_cast<std::size_t>(places);
  while (reversed.size() <= decimals) reversed += '0';
  std::string text(reversed.rbegin(), reversed.rend());
  std::string fraction = text.substr(text.size() - decimals);
  text.resize(text.size() - decimals);
  while (!fraction.empty() && fraction.back() == '0') fraction.pop_back();
  const auto least = static_cast<std::size_t>(std::clamp(least_decimals, 0, 99));
  if (fraction.size() < least) fraction.resize(least, '0');
  if (negative) text.insert(text.begin(), '-');
  return fraction.empty() ? text : text + "." + fraction;
}

}  // namespace tallystick::decimal
