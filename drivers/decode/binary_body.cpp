#include "drivers/decode/binary_body.hpp"

#include <algorithm>
#include <bit>
#include <charconv>

namespace tallystick::decode {

namespace {

std::uint8_t byte_at(std::string_view body, std::size_t at) { return static_cast<std::uint8_t>(body[at]); }

/// "0" to "255", so that masked bits can be looked up in the maps that texts are looked up in.
std::string_view number_text(std::uint8_t number) {
  static const auto all = [] {
    std::array<std::string, 256> out;
    for (std::size_t i = 0; i < out.size(); ++i) out[i] = std::to_string(i);
    return out;
  }();
  return all[number];
}

Refusal not_mine(const char* detail) { return {RefusalReason::not_mine, detail}; }

bool has_digits(BinaryForm form) { return form == BinaryForm::packed || form == BinaryForm::unpacked; }

}  // namespace

std::uint8_t BinaryBits::of(std::string_view body) const {
  return static_cast<std::uint8_t>((byte_at(body, at) & mask) >> std::countr_zero(mask));
}

std::vector<std::pair<std::size_t, unsigned>> nibbles_of(const BinaryValue& value) {
  std::vector<std::pair<std::size_t, unsigned>> out;
  for (std::size_t i = 0; i < value.width; ++i) {
    const std::size_t at = value.at + (value.low_byte_first ? value.width - 1 - i : i);
    if (value.form == BinaryForm::unpacked) {
      out.emplace_back(at, 0U);
      continue;
    }
    out.emplace_back(at, value.low_nibble_first ? 0U : 4U);
    out.emplace_back(at, value.low_nibble_first ? 4U : 0U);
  }
  out.erase(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(std::min(value.skip, out.size())));
  if (value.digits != 0 && value.digits < out.size()) out.resize(value.digits);
  return out;
}

std::vector<std::pair<std::size_t, std::uint8_t>> bits_of(const BinaryValue& value) {
  std::vector<std::pair<std::size_t, std::uint8_t>> out;
  if (value.form == BinaryForm::packed) {
    for (const auto& [at, shift] : nibbles_of(value))
      out.emplace_back(at, static_cast<std::uint8_t>(0xFU << shift));
    return out;
  }
  for (std::size_t i = 0; i < value.width; ++i) out.emplace_back(value.at + i, std::uint8_t{0xFF});
  return out;
}

BinaryBody::BinaryBody(BinaryLayout layout) : layout_(std::move(layout)), unnamed_(layout_.width, 0xFF) {
  if (has_digits(layout_.value.form)) nibbles_ = nibbles_of(layout_.value);
  const auto name_bits = [&](std::size_t at, std::uint8_t mask) {
    unnamed_.at(at) = static_cast<std::uint8_t>(unnamed_.at(at) & ~mask);
  };
  for (const auto& [at, mask] : bits_of(layout_.value)) name_bits(at, mask);
  const auto name_part = [&](const std::optional<BinaryBits>& part) {
    if (part) name_bits(part->at, part->mask);
  };
  if (layout_.sign) name_part(layout_.sign->bits);
  for (const auto& part : {layout_.places, layout_.unit, layout_.status, layout_.channel}) name_part(part);
  for (const auto& literal : layout_.literals) name_part(literal.bits);
  for (const auto& bits : layout_.ignored) name_part(bits);
}

bool BinaryBody::has(Field field) const {
  switch (field) {
    case Field::value:
      return true;
    case Field::sign:
      return layout_.sign.has_value();
    case Field::unit:
      return layout_.unit.has_value();
    case Field::channel:
      return layout_.channel.has_value();
    case Field::status:
      return layout_.status.has_value();
  }
  return false;
}

bool BinaryBody::means_no_value(std::string_view body) const {
  const std::string_view bytes = body.substr(layout_.value.at, layout_.value.width);
  return std::find(layout_.no_value.begin(), layout_.no_value.end(), bytes) != layout_.no_value.end();
}

std::string_view BinaryBody::read_digits(std::string_view body, Scratch& scratch) const {
  const BinaryValue& value = layout_.value;
  bool leading = true;
  for (std::size_t i = 0; i < nibbles_.size(); ++i) {
    const auto& [at, shift] = nibbles_[i];
    const std::uint8_t byte = byte_at(body, at);
    const auto nibble = static_cast<std::uint8_t>((byte >> shift) & 0xFU);
    char digit = nibble <= 9 ? static_cast<char>('0' + nibble) : '?';
    if (value.form == BinaryForm::unpacked && (byte >> 4U) != value.zone) digit = '?';
    if (leading && value.blank && nibble == *value.blank && digit == '?' && i + 1 < nibbles_.size()) {
      digit = '0';
    } else {
      leading = false;
    }
    scratch.digits[i] = digit;
  }
  return {scratch.digits.data(), nibbles_.size()};
}

std::string_view BinaryBody::read_whole(std::string_view body, Scratch& scratch, bool& negative) const {
  const BinaryValue& value = layout_.value;
  std::uint64_t number = 0;
  for (std::size_t i = 0; i < value.width; ++i)
    number = number << 8U | byte_at(body, value.at + (value.low_byte_first ? value.width - 1 - i : i));
  const std::uint64_t top = std::uint64_t{1} << (8 * value.width - 1);
  negative = value.form != BinaryForm::whole && (number & top) != 0;
  if (negative) number = value.form == BinaryForm::twos_complement ? 2 * top - number : number & ~top;
  char* const first = scratch.digits.data();
  const auto written = std::to_chars(first, first + scratch.digits.size(), number);
  return {first, static_cast<std::size_t>(written.ptr - first)};
}

std::optional<Refusal> BinaryBody::read(std::string_view body, Fields& fields, Scratch& scratch) const {
  if (body.size() != layout_.width) return not_mine("not the length of this dialect");
  for (std::size_t i = 0; i < body.size(); ++i) {
    if ((byte_at(body, i) & unnamed_[i]) != 0) return not_mine("a bit is set that must not be");
  }
  for (const auto& literal : layout_.literals) {
    if (literal.bits.of(body) != literal.is) return not_mine("a fixed byte is another");
  }
  bool negative = false;
  fields[Field::value] =
      has_digits(layout_.value.form) ? read_digits(body, scratch) : read_whole(body, scratch, negative);
  fields[Field::sign] = negative ? "-" : "+";
  if (layout_.sign) {
    const std::uint8_t sign = layout_.sign->bits.of(body);
    fields[Field::sign] = sign == layout_.sign->negative ? "-" : sign == layout_.sign->positive ? "+" : "?";
  }
  scratch.places = layout_.places ? layout_.places->of(body) : -1;
  if (scratch.places > 9) fields[Field::sign] = "?";  // no number of places: then no number
  if (layout_.unit) fields[Field::unit] = number_text(layout_.unit->of(body));
  if (layout_.status) fields[Field::status] = number_text(layout_.status->of(body));
  if (layout_.channel) fields[Field::channel] = number_text(layout_.channel->of(body));
  return std::nullopt;
}

}  // namespace tallystick::decode
