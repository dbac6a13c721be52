// The part of DialectReader that is about [binary]: where in a frame that is no text the parts stand.
#include <algorithm>
#include <bit>

#include "drivers/decode/dialect_reader.hpp"
#include "drivers/decode/replay_log.hpp"

namespace tallystick::decode {

namespace {

constexpr std::int64_t widest = 256;
constexpr std::size_t most_nibbles = 18;

BinaryForm form_named(const std::string& word) {
  return word == "unpacked"          ? BinaryForm::unpacked
         : word == "whole"           ? BinaryForm::whole
         : word == "twos_complement" ? BinaryForm::twos_complement
         : word == "sign_magnitude"  ? BinaryForm::sign_magnitude
                                     : BinaryForm::packed;
}

/// Reads { at = 3, mask = 0x0F } without finishing it.
std::optional<BinaryBits> bits_in(TomlFields& part) {
  const auto at = part.whole("at", 1, widest);
  const auto mask = part.whole("mask", 1, 0xFF).value_or(0xFF);
  if (!part.has("at"))
    part.fault("missing_key", "at is missing",
               "write { at = 3, mask = 0x0F }; bytes are counted from 1 at the first one behind frame.start");
  const auto bits = static_cast<unsigned>(mask);
  const unsigned low = bits >> static_cast<unsigned>(std::countr_zero(bits));
  if (!std::has_single_bit(low + 1))
    part.fault("wrong_value", "mask names bits that do not stand side by side", "use one mask for each part",
               "mask");
  if (!at) return std::nullopt;
  return BinaryBits{static_cast<std::size_t>(*at) - 1, static_cast<std::uint8_t>(bits)};
}

}  // namespace

std::optional<BinaryBits> DialectReader::read_bits(TomlFields& binary, std::string_view key) {
  auto part = binary.table(key);
  if (!part) return std::nullopt;
  auto bits = bits_in(*part);
  part->finish();
  return bits;
}

void DialectReader::read_binary() {
  auto fields = section("binary");
  if (!fields.present()) return;
  BinaryLayout layout;
  layout.width = static_cast<std::size_t>(fields.whole("width", 1, widest).value_or(0));
  if (!fields.has("width"))
    fields.fault("missing_key", "binary.width is missing",
                 "write how many bytes a frame has without start, end and checksum");
  read_binary_value(fields, layout);
  if (auto part = fields.table("sign")) {
    const auto bits = bits_in(*part);
    const auto negative = part->whole("negative", 0, 0xFF), positive = part->whole("positive", 0, 0xFF);
    if (!part->has("negative") || !part->has("positive"))
      part->fault("missing_key", "a sign needs negative and positive",
                  "write sign = { at = 1, mask = 0x80, negative = 1, positive = 0 }");
    if (negative && positive && *negative == *positive)
      part->fault("contradiction", "negative and positive are the same", "they tell the sign: write both");
    part->finish();
    if (bits && negative && positive)
      layout.sign =
          BinarySign{*bits, static_cast<std::uint8_t>(*negative), static_cast<std::uint8_t>(*positive)};
  }
  layout.places = read_bits(fields, "places");
  layout.unit = read_bits(fields, "unit");
  layout.status = read_bits(fields, "status");
  layout.channel = read_bits(fields, "channel");
  for (auto& part : fields.tables("literal")) {
    const auto bits = bits_in(part);
    const auto is = part.whole("is", 0, 0xFF);
    if (!part.has("is"))
      part.fault("missing_key", "a literal needs is", "write { at = 1, is = 0x52 }: what must stand there");
    part.finish();
    if (bits && is) layout.literals.push_back({*bits, static_cast<std::uint8_t>(*is)});
  }
  for (auto& part : fields.tables("ignored")) {
    if (const auto bits = bits_in(part)) layout.ignored.push_back(*bits);
    part.finish();
  }
  for (const auto& text : source_.no_value) {
    const auto bytes = bytes_of_hex(text);
    if (bytes && bytes->size() == layout.value.width)
      layout.no_value.push_back(*bytes);
    else
      fields.fault("wrong_value", "value.no_value \"" + text + "\" is not the value's bytes",
                   "write all " + std::to_string(layout.value.width) + " bytes in hex, as they are sent");
  }
  source_.no_value.clear();
  if (layout.places && (source_.number.implied_decimals > 0 || !source_.decimals_by_unit.empty()))
    fields.fault("contradiction", "binary.places stands beside a fixed number of decimals in [value]",
                 "the frame says it or the dialect does: leave one out", "places");
  if (faults_.empty()) check_binary(fields, layout);
  fields.finish();
  source_.binary = std::move(layout);
}

void DialectReader::read_binary_value(TomlFields& fields, BinaryLayout& layout) {
  auto part = fields.table("value");
  if (!part) {
    if (!fields.has("value"))
      fields.fault("missing_key", "binary.value is missing",
                   "write value = { at = 2, width = 3, form = \"packed\" }");
    return;
  }
  BinaryValue& value = layout.value;
  value.at = static_cast<std::size_t>(part->whole("at", 1, widest).value_or(1)) - 1;
  value.width = static_cast<std::size_t>(part->whole("width", 1, 18).value_or(1));
  for (const auto key : {"at", "width"}) {
    if (!part->has(key))
      part->fault("missing_key", std::string(key) + " is missing",
                  "write value = { at = 2, width = 3, form = \"packed\" }, counted from 1");
  }
  const auto form = part->word("form", {"packed", "unpacked", "whole", "twos_complement", "sign_magnitude"});
  if (!part->has("form"))
    part->fault(
        "missing_key", "form is missing",
        "write packed or unpacked for decimal digits; whole, twos_complement or sign_magnitude for a number");
  value.form = form_named(form.value_or("packed"));
  value.low_byte_first = part->word("byte_order", {"high_first", "low_first"}) == "low_first";
  value.low_nibble_first = part->word("nibble_order", {"high_first", "low_first"}) == "low_first";
  value.skip = static_cast<std::size_t>(part->whole("skip_nibbles", 0, 35).value_or(0));
  value.digits = static_cast<std::size_t>(part->whole("digits", 1, 18).value_or(0));
  value.zone = static_cast<std::uint8_t>(part->whole("zone", 0, 15).value_or(0));
  if (const auto blank = part->whole("blank", 10, 15)) value.blank = static_cast<std::uint8_t>(*blank);
  const bool digits = value.form == BinaryForm::packed || value.form == BinaryForm::unpacked;
  const auto only_for = [&](bool fits, std::initializer_list<const char*> keys, const char* what) {
    for (const auto key : keys) {
      if (!fits && part->has(key))
        part->fault("contradiction", std::string(key) + " means nothing for a value that is not " + what,
                    "leave it out", key);
    }
  };
  only_for(value.form == BinaryForm::packed, {"nibble_order", "skip_nibbles", "digits"}, "packed");
  only_for(value.form == BinaryForm::unpacked, {"zone"}, "unpacked");
  only_for(digits, {"blank"}, "digits");
  const std::size_t nibbles = digits ? nibbles_of(value).size() : 0;
  if (digits && (nibbles == 0 || nibbles > most_nibbles || (value.digits != 0 && nibbles < value.digits)))
    part->fault("wrong_value", "the value has " + std::to_string(nibbles) + " digits",
                "1 to 18 digits must be left, as many as digits says");
  if (!digits && value.width > 7)
    part->fault("wrong_value", "the value has " + std::to_string(value.width) + " bytes",
                "a whole number has 1 to 7", "width");
  part->finish();
}

/// No part reaches beyond the body, and no two share a bit.
void DialectReader::check_binary(TomlFields& fields, const BinaryLayout& layout) {
  std::vector<std::uint8_t> taken(layout.width, 0);
  std::string told;  // one fault a part is enough
  const auto take = [&](const BinaryBits& bits, std::string_view what) {
    if (told == what) return;
    if (bits.at >= layout.width) {
      fields.fault("contradiction", "binary." + std::string(what) + " reaches beyond binary.width",
                   "bytes are counted from 1 at the first one behind frame.start", what);
      told = what;
      return;
    }
    if ((taken[bits.at] & bits.mask) != 0) {
      fields.fault("contradiction",
                   "binary." + std::string(what) + " shares bits of byte " + std::to_string(bits.at + 1),
                   "move it, or give masks", what);
      told = what;
    }
    taken[bits.at] = static_cast<std::uint8_t>(taken[bits.at] | bits.mask);
  };
  for (const auto& [at, mask] : bits_of(layout.value)) take({at, mask}, "value");
  if (layout.sign) take(layout.sign->bits, "sign");
  const auto part = [&](const std::optional<BinaryBits>& bits, std::string_view what) {
    if (bits) take(*bits, what);
  };
  part(layout.places, "places");
  part(layout.unit, "unit");
  part(layout.status, "status");
  part(layout.channel, "channel");
  for (const auto& literal : layout.literals) take(literal.bits, "literal");
  for (const auto& bits : layout.ignored) take(bits, "ignored");
  if (layout.sign && layout.value.form != BinaryForm::packed && layout.value.form != BinaryForm::unpacked &&
      layout.value.form != BinaryForm::whole)
    fields.fault("contradiction", "binary.sign stands beside a value that has its own sign",
                 "write form = \"whole\", or leave sign out", "sign");
}

}  // namespace tallystick::decode
