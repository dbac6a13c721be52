#include "drivers/decode/number.hpp"

#include <charconv>
#include <string>

namespace tallystick::decode {

namespace {

constexpr bool is_digit(char c) { return c >= '0' && c <= '9'; }

Refusal no_number(std::string_view sign, std::string_view value) {
  std::string shown;
  for (const char c : std::string(sign) + std::string(value)) shown += (c >= ' ' && c <= '~') ? c : '?';
  return {RefusalReason::not_a_number, "\"" + shown.substr(0, 60) + "\" is not a plain decimal"};
}

/// Digits without the mark, and how many of them stand behind it.
struct Digits {
  std::array<char, NumberText::capacity> all;
  int count = 0;
  int behind = 0;
  bool too_many = false;
  void push(char c) {
    if (count == 0 && c == '0' && behind == 0) return;  // a leading zero of the whole part
    if (count >= 38) {
      too_many = true;
      return;
    }
    all[static_cast<std::size_t>(count++)] = c;
  }
};

/// Writes `digits` with its point, padding with zeros where the point lies outside them.
bool write_plain(const Digits& digits, bool negative, Number& out) {
  std::uint8_t n = 0;
  auto& text = out.plain.characters;
  const auto put = [&](char c) { text[n++] = c; };
  const int behind = digits.behind < 0 ? 0 : digits.behind;
  const int trailing = digits.behind < 0 ? -digits.behind : 0;
  const int before = digits.count - digits.behind - trailing;
  const int whole = (before > 0 ? before : 0) + trailing;
  if (behind + whole > 40) return false;
  bool zero = true;
  std::int64_t value = 0;
  for (int i = 0; i < digits.count; ++i) zero = zero && digits.all[static_cast<std::size_t>(i)] == '0';
  if (negative && !zero) put('-');
  if (before <= 0) put('0');
  for (int i = 0; i < before; ++i) put(digits.all[static_cast<std::size_t>(i)]);
  for (int i = 0; i < trailing && !zero; ++i) put('0');
  if (behind > 0) {
    put('.');
    for (int i = before; i < 0; ++i) put('0');
    for (int i = before > 0 ? before : 0; i < digits.count; ++i) put(digits.all[static_cast<std::size_t>(i)]);
  }
  out.plain.begin = 0;
  out.plain.size = n;
  out.fits = digits.count <= 18 && trailing == 0 && behind <= 18;
  if (out.fits) {
    for (int i = 0; i < digits.count; ++i)
      value = value * 10 + (digits.all[static_cast<std::size_t>(i)] - '0');
    out.digits = negative ? -value : value;
    out.decimals = behind;
  }
  return true;
}

/// Cuts an exponent off `value`; empty where it is malformed.
std::optional<int> take_exponent(std::string_view& value) {
  const auto at = value.find_first_of("eE");
  if (at == std::string_view::npos) return 0;
  std::string_view text = value.substr(at + 1);
  value = value.substr(0, at);
  const bool minus = !text.empty() && text.front() == '-';
  if (!text.empty() && (text.front() == '+' || text.front() == '-')) text.remove_prefix(1);
  unsigned exponent = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), exponent);
  if (text.empty() || error != std::errc{} || end != text.data() + text.size() || exponent > 99)
    return std::nullopt;
  return minus ? -static_cast<int>(exponent) : static_cast<int>(exponent);
}

/// The usual number in one pass: digits, at most one mark between them, at most 18 digits. False: it is not
/// of that kind, and nothing is said about it.
bool read_usual(bool negative, std::string_view value, char mark, Number& out) {
  const char* at = value.data();
  const char* const end = at + value.size();
  if (value.size() > 19 || at == end || !is_digit(*at)) return false;
  while (end - at > 1 && *at == '0' && is_digit(at[1])) ++at;
  char* const first = out.plain.characters.data() + 1;  // room for a sign
  char* put = first;
  std::uint64_t digits = 0;
  const char* behind = nullptr;
  for (; at != end; ++at) {
    if (is_digit(*at)) {
      digits = digits * 10 + static_cast<std::uint64_t>(*at - '0');
      *put++ = *at;
    } else if (*at == mark && behind == nullptr && at + 1 != end) {
      behind = at + 1;
      *put++ = '.';
    } else {
      return false;
    }
  }
  if (value.size() == 19 && behind == nullptr) return false;
  const bool minus = negative && digits != 0;
  first[-1] = '-';
  out.plain.begin = minus ? 0 : 1;
  out.plain.size = static_cast<std::uint8_t>(put - first + (minus ? 1 : 0));
  out.digits = minus ? -static_cast<std::int64_t>(digits) : static_cast<std::int64_t>(digits);
  out.decimals = behind == nullptr ? 0 : static_cast<int>(end - behind);
  out.fits = true;
  return true;
}

}  // namespace

std::optional<Refusal> read_number(std::string_view sign, std::string_view value, const NumberForm& form,
                                   Number& out) {
  const std::string_view whole = value;
  bool negative = false;
  const bool own_sign = sign.empty() && !value.empty() && (value.front() == '+' || value.front() == '-');
  if (own_sign) {
    negative = value.front() == '-';
    value.remove_prefix(1);
  } else if (!sign.empty()) {
    if (sign.size() != 1 || (sign[0] != '+' && sign[0] != '-' && sign[0] != ' '))
      return no_number(sign, whole);
    negative = sign[0] == '-';
  }
  if (form.implied_decimals == 0 && read_usual(negative, value, form.mark, out)) return std::nullopt;
  int exponent = 0;
  if (form.exponent) {
    const auto taken = take_exponent(value);
    if (!taken) return no_number(sign, whole);
    exponent = *taken;
  }
  Digits digits;
  bool any = false;
  bool marked = false;
  for (const char c : value) {
    if (is_digit(c)) {
      any = true;
      if (marked) ++digits.behind;
      digits.push(c);
    } else if (c == form.mark && !marked && form.implied_decimals == 0) {
      marked = true;
    } else {
      return no_number(sign, whole);
    }
  }
  if (!any) return no_number(sign, whole);
  digits.behind += form.implied_decimals - exponent;
  if (digits.too_many || !write_plain(digits, negative, out)) {
    return Refusal{RefusalReason::out_of_range, "more digits than a value can have"};
  }
  return std::nullopt;
}

UnitScale::UnitScale(Unit unit) : unit_(unit) {
  const auto zero = Quantity::parse("0", unit);
  const auto one = Quantity::parse("1", unit);
  const auto half = Quantity::parse("0.5", unit);
  if (!zero || !one || !half || zero->count() != 0 || one->count() != 2 * half->count()) return;
  std::int64_t count = one->count();
  for (auto& entry : counts_) {
    entry = count;
    if (count % 10 != 0) break;
    count /= 10;
  }
}

std::optional<Refusal> UnitScale::quantity(const Number& number, Quantity& out) const {
  if (number.fits) {
    const std::int64_t one = counts_[static_cast<std::size_t>(number.decimals)];
    std::int64_t count = 0;
    if (one != 0 && !__builtin_mul_overflow(number.digits, one, &count)) {
      out = Quantity::of_count(count, unit_);
      return std::nullopt;
    }
  }
  const auto parsed = Quantity::parse(number.plain.view(), unit_);
  if (!parsed) return Refusal{RefusalReason::out_of_range, parsed.error().what};
  out = *parsed;
  return std::nullopt;
}

}  // namespace tallystick::decode
