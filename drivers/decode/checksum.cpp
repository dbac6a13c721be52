#include "drivers/decode/checksum.hpp"

#include <algorithm>
#include <array>
#include <boost/crc.hpp>
#include <utility>

namespace tallystick::decode {

namespace {

template <std::size_t Bits>
std::uint32_t crc_with(std::string_view bytes, const CrcParameters& p) {
  using Value = typename boost::crc_basic<Bits>::value_type;
  boost::crc_basic<Bits> crc(static_cast<Value>(p.polynomial), static_cast<Value>(p.initial),
                             static_cast<Value>(p.final_xor), p.reflect_in, p.reflect_out);
  crc.process_bytes(bytes.data(), bytes.size());
  return static_cast<std::uint32_t>(crc.checksum());
}

std::uint32_t value_of(const Checksum& checksum, std::string_view covered) {
  if (checksum.kind == ChecksumKind::crc) return crc_of(covered, checksum.crc);
  std::uint32_t sum = 0;
  for (const char c : covered) {
    const auto byte = static_cast<unsigned char>(c);
    sum = checksum.kind == ChecksumKind::exclusive_or ? (sum ^ byte) : (sum + byte);
  }
  if (checksum.kind == ChecksumKind::sum_complement) sum = 0x100U - (sum & 0xFFU);
  return sum & 0xFFU;
}

char upper(char c) { return c >= 'a' && c <= 'f' ? static_cast<char>(c - 'a' + 'A') : c; }

}  // namespace

std::optional<CrcParameters> crc_named(std::string_view name) {
  static constexpr std::array<std::pair<std::string_view, CrcParameters>, 5> table{{
      {"crc-8", {8, 0x07, 0, 0, false, false}},
      {"crc-16-modbus", {16, 0x8005, 0xFFFF, 0, true, true}},
      {"crc-16-xmodem", {16, 0x1021, 0, 0, false, false}},
      {"crc-16-ccitt-false", {16, 0x1021, 0xFFFF, 0, false, false}},
      {"crc-32", {32, 0x04C11DB7, 0xFFFFFFFF, 0xFFFFFFFF, true, true}},
  }};
  for (const auto& [known, parameters] : table) {
    if (known == name) return parameters;
  }
  return std::nullopt;
}

std::uint32_t crc_of(std::string_view bytes, const CrcParameters& parameters) {
  if (parameters.bits == 8) return crc_with<8>(bytes, parameters);
  if (parameters.bits == 16) return crc_with<16>(bytes, parameters);
  return crc_with<32>(bytes, parameters);
}

std::size_t Checksum::width() const {
  const auto bytes = static_cast<std::size_t>(bits()) / 8;
  return written_as_hex ? 2 * bytes : bytes;
}

std::string Checksum::of(std::string_view covered) const {
  static constexpr char digits[] = "0123456789ABCDEF";
  const std::uint32_t value = value_of(*this, covered);
  const int bytes = bits() / 8;
  std::string out;
  for (int i = 0; i < bytes; ++i) {
    const int shift = 8 * (low_byte_first ? i : bytes - 1 - i);
    const auto byte = static_cast<unsigned char>((value >> shift) & 0xFFU);
    if (written_as_hex) {
      out += digits[byte >> 4U];
      out += digits[byte & 0xFU];
    } else {
      out += static_cast<char>(byte);
    }
  }
  return out;
}

bool Checksum::matches(std::string_view covered, std::string_view sent) const {
  const std::string expected = of(covered);
  if (!written_as_hex) return expected == sent;
  return std::equal(expected.begin(), expected.end(), sent.begin(), sent.end(),
                    [](char want, char got) { return want == upper(got); });
}

}  // namespace tallystick::decode
