#include "drivers/decode/numeric_reply.hpp"

#include <algorithm>
#include <charconv>
#include <string>

namespace tallystick::decode {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_suffix_letter(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '/' || c == '%';
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

std::size_t digits_at(std::string_view text, std::size_t at) {
  std::size_t count = 0;
  while (at + count < text.size() && is_digit(text[at + count])) ++count;
  return count;
}

/// How many bytes at the front are a number; 0: none are.
std::size_t number_at_front(std::string_view text) {
  std::size_t at = !text.empty() && (text[0] == '+' || text[0] == '-') ? 1 : 0;
  const std::size_t whole = digits_at(text, at);
  at += whole;
  std::size_t behind = 0;
  if (at < text.size() && text[at] == '.') {
    behind = digits_at(text, at + 1);
    at += 1 + behind;
  }
  if (whole + behind == 0) return 0;
  if (at < text.size() && (text[at] == 'E' || text[at] == 'e')) {
    std::size_t from = at + 1;
    if (from < text.size() && (text[from] == '+' || text[from] == '-')) ++from;
    if (const std::size_t exponent = digits_at(text, from); exponent > 0) at = from + exponent;
  }
  return at;
}

bool split(std::string_view field, std::string_view& number, std::string_view& suffix) {
  field = trimmed(field);
  const std::size_t size = number_at_front(field);
  if (size == 0) return false;
  number = field.substr(0, size);
  suffix = trimmed(field.substr(size));
  return std::all_of(suffix.begin(), suffix.end(), is_suffix_letter);
}

}  // namespace

bool find_number(const NumericReply& reply, std::string_view body, std::string_view& number,
                 std::string_view& suffix) {
  for (int field = 1; field <= reply.fields; ++field) {
    const auto comma = body.find(',');
    const bool last = field == reply.fields;
    if (last != (comma == std::string_view::npos)) return false;
    std::string_view its_number, its_suffix;
    if (!split(body.substr(0, comma), its_number, its_suffix)) return false;
    if (field == reply.field) {
      number = its_number;
      suffix = its_suffix;
    }
    if (!last) body.remove_prefix(comma + 1);
  }
  return true;
}

NoNumber no_number(std::string_view number) {
  // Significant digits, and the power of ten of the first of them.
  std::string digits;
  int power = -1, exponent = 0;
  bool behind = false;
  std::size_t at = 0;
  for (; at < number.size() && number[at] != 'E' && number[at] != 'e'; ++at) {
    if (number[at] == '.') behind = true;
    if (!is_digit(number[at])) continue;
    if (digits.empty() && number[at] == '0') {
      if (behind) --power;
      continue;
    }
    digits += number[at];
    if (!behind) ++power;
  }
  if (at < number.size()) {
    const char* from = number.data() + at + 1;
    if (from != number.data() + number.size() && *from == '+') ++from;
    std::from_chars(from, number.data() + number.size(), exponent);
  }
  while (!digits.empty() && digits.back() == '0') digits.pop_back();
  if (power + exponent != 37) return NoNumber::it_is_one;
  return digits == "991" ? NoNumber::not_a_number : digits == "99" ? NoNumber::infinity : NoNumber::it_is_one;
}

const std::vector<Suffix>& unit_suffixes() {
  static const std::vector<Suffix> all{
      {"M", "m"},     {"MM", "mm"},     {"UM", "um"},    {"NM", "nm"},   {"IN", "in"},      {"DEG", "deg"},
      {"CEL", "degC"}, {"FAR", "degF"}, {"N", "N"},      {"MN", "mN"},   {"KN", "kN"},      {"PAL", "Pa"},
      {"KPAL", "kPa"}, {"MAPAL", "MPa"}, {"BAR", "bar"}, {"MBAR", "mbar"}, {"V", "V"},      {"MV", "mV"},
      {"A", "A"},     {"MA", "mA"},     {"OHM", "ohm"},  {"HZ", "Hz"},   {"S", "s"},        {"MS", "ms"},
      {"PCT", "percent"}, {"DB", "dB"}, {"G", "g"},      {"MG", "mg"},   {"KG", "kg"},
  };
  return all;
}

}  // namespace tallystick::decode
