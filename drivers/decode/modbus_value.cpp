#include "drivers/decode/modbus_value.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <charconv>
#include <cmath>
#include <string>

#include "drivers/decode/modbus_frame.hpp"

namespace tallystick::decode {
namespace {

/// digits * 10^-decimals as a Number; `digits` has at most 19 figures.
std::optional<Refusal> number_of(std::int64_t digits, int decimals, Number& out) {
  std::string text = std::to_string(digits);
  const bool negative = text.front() == '-';
  if (negative) text.erase(0, 1);
  if (decimals < 0) text.append(static_cast<std::size_t>(-decimals), '0');
  if (decimals > 0) {
    const auto behind = static_cast<std::size_t>(decimals);
    if (text.size() <= behind) text.insert(0, behind + 1 - text.size(), '0');
    text.insert(text.size() - behind, 1, '.');
  }
  return read_number(negative ? "-" : "+", text, {}, out);
}

std::uint32_t both_words(const ModbusRegister& how, std::string_view bytes) {
  const std::uint32_t first = word_at(bytes, 0), second = word_at(bytes, 2);
  return how.low_word_first ? second << 16U | first : first << 16U | second;
}

std::int64_t whole_number(const ModbusRegister& how, std::string_view bytes) {
  switch (how.type) {
    case RegisterType::int16:
      return static_cast<std::int16_t>(word_at(bytes, 0));
    case RegisterType::uint16:
      return word_at(bytes, 0);
    case RegisterType::int32:
      return static_cast<std::int32_t>(both_words(how, bytes));
    case RegisterType::uint32:
    case RegisterType::float32:
      break;
  }
  return both_words(how, bytes);
}

/// The worst of what the status register says. Nothing: a word that stands in no map.
std::optional<GaugeStatus> status_of(const RegisterStatus& status, std::uint16_t word) {
  if (!status.words.empty()) {
    const auto found = status.words.find(word);
    if (found == status.words.end()) return {};
    return found->second;
  }
  const auto rank = [](GaugeStatus one) {
    return one == GaugeStatus::error         ? 4
           : one == GaugeStatus::over_range  ? 3
           : one == GaugeStatus::under_range ? 2
           : one == GaugeStatus::low_battery ? 1
                                             : 0;
  };
  GaugeStatus worst = GaugeStatus::ok;
  for (const auto& [bit, meaning] : status.bits) {
    if ((static_cast<unsigned>(word) >> static_cast<unsigned>(bit) & 1U) != 0 && rank(meaning) > rank(worst)) worst = meaning;
  }
  return worst;
}

std::optional<Refusal> read_status(const ModbusRegister& how, std::string_view registers, Decoded& out) {
  out.status = GaugeStatus::ok;
  if (!how.status) return {};
  const std::uint16_t word = word_at(registers, 2U * (how.status->address - how.first()));
  const auto said = status_of(*how.status, word);
  if (!said)
    return Refusal{RefusalReason::unknown_status, "status " + std::to_string(word) + " stands in no map"};
  out.status = *said;
  if (*said == GaugeStatus::error) return Refusal{RefusalReason::not_a_number, "the gauge says: error"};
  if (*said == GaugeStatus::over_range)
    return Refusal{RefusalReason::out_of_range, "the gauge says: over range"};
  if (*said == GaugeStatus::under_range)
    return Refusal{RefusalReason::out_of_range, "the gauge says: under range"};
  return {};
}

/// `digits` * 10^-`decimals` at `wanted` decimals, half to even.
std::int64_t rounded(std::int64_t digits, int decimals, int wanted) {
  for (bool below = false; decimals > wanted; --decimals) {
    // One figure a turn would round twice: what was cut off before decides a half.
    const std::int64_t figure = std::abs(digits % 10);
    const std::int64_t sign = digits < 0 ? -1 : 1;
    const bool last = decimals - 1 == wanted;
    std::int64_t next = digits / 10;
    if (last && (figure > 5 || (figure == 5 && (below || next % 2 != 0)))) next += sign;
    below = below || figure != 0;
    digits = next;
  }
  return digits;
}

}  // namespace

std::optional<Refusal> read_float32(std::uint32_t bits, const ModbusRegister& how, Number& out) {
  const float value = std::bit_cast<float>(bits);
  if (std::isnan(value)) return Refusal{RefusalReason::out_of_range, "the register holds \"not a number\""};
  if (std::isinf(value)) return Refusal{RefusalReason::out_of_range, "the register holds infinity"};
  std::array<char, 32> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, std::chars_format::scientific);
  std::string_view text(buffer.data(), static_cast<std::size_t>(end.ptr - buffer.data()));
  const bool negative = text.front() == '-';
  if (negative) text.remove_prefix(1);
  const auto mark = text.find('e');
  int exponent = 0;
  const char* from = text.data() + mark + (text[mark + 1] == '+' ? 2 : 1);
  std::from_chars(from, text.data() + text.size(), exponent);
  std::int64_t digits = 0;
  int decimals = how.scale_decimals - exponent;
  for (const char c : text.substr(0, mark)) {
    if (c == '.') continue;
    digits = digits * 10 + (c - '0');
  }
  if (mark > 1) decimals += static_cast<int>(mark) - 2;  // figures behind the point
  // At most nine figures here and nine of the scale.
  digits *= negative ? -how.scale_digits : how.scale_digits;
  if (digits == 0) return number_of(0, how.decimals, out);
  if (decimals <= how.decimals) {
    for (; decimals < how.decimals; ++decimals) {
      if (__builtin_mul_overflow(digits, std::int64_t{10}, &digits))
        return Refusal{RefusalReason::out_of_range, "more digits than a value can have"};
    }
    return number_of(digits, decimals, out);
  }
  return number_of(rounded(digits, decimals, how.decimals), how.decimals, out);
}

std::optional<Refusal> read_registers(const ModbusRegister& how, std::string_view registers, Decoded& out) {
  if (auto refusal = read_status(how, registers, out)) return refusal;
  const std::string_view bytes = registers.substr(2U * (how.address - how.first()));
  Number number;
  std::optional<Refusal> refusal;
  if (how.type == RegisterType::float32) {
    refusal = read_float32(both_words(how, bytes), how, number);
  } else {
    const std::int64_t whole = whole_number(how, bytes);
    if (std::find(how.no_value.begin(), how.no_value.end(), whole) != how.no_value.end())
      return Refusal{RefusalReason::out_of_range,
                     "the register holds " + std::to_string(whole) + ", which means that it has no value"};
    refusal = number_of(whole * how.scale_digits, how.scale_decimals, number);
  }
  if (refusal) return refusal;
  if (auto unheld = UnitScale(how.unit).quantity(number, out.quantity)) return unheld;
  out.value_text = std::string(number.plain.view());
  out.unit_in_frame = false;
  return {};
}

}  // namespace tallystick::decode
