// Checksums that frames carry. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace tallystick::decode {

/// `sum`: bytes added, low 8 bits. `sum_complement`: what brings that sum to zero. `exclusive_or`: all bytes
/// combined.
enum class ChecksumKind : std::uint8_t { sum, sum_complement, exclusive_or, crc };

/// Parameters of a cyclic redundancy check in the usual notation (width, polynomial without its top bit,
/// ...).
struct CrcParameters {
  int bits = 16;  ///< 8, 16 or 32
  std::uint32_t polynomial = 0;
  std::uint32_t initial = 0;
  std::uint32_t final_xor = 0;
  bool reflect_in = false;
  bool reflect_out = false;
};

/// Looks up "crc-8", "crc-16-modbus", "crc-16-xmodem", "crc-16-ccitt-false", "crc-32". Empty: no such name.
std::optional<CrcParameters> crc_named(std::string_view name);

std::uint32_t crc_of(std::string_view bytes, const CrcParameters& parameters);

/// Where in the frame a checksum stands, over what it is taken and how it is written.
struct Checksum {
  ChecksumKind kind = ChecksumKind::sum;
  CrcParameters crc;           ///< for `crc`
  bool written_as_hex = true;  ///< two hex digits a byte (either case), else raw bytes
  bool low_byte_first = false;
  bool after_end = false;  ///< behind the end bytes; else the last bytes before them
  std::string marked_by;   ///< bytes between what it stands behind and the checksum; never covered
  bool covers_start = false;
  bool covers_end = false;  ///< the body is always covered

  int bits() const { return kind == ChecksumKind::crc ? crc.bits : 8; }
  /// Bytes that the checksum itself takes in the frame, without `marked_by`.
  std::size_t width() const;
  /// The checksum of the covered bytes, as it would stand in the frame.
  std::string of(std::string_view covered) const;
  /// True where `sent` is what `of` gives, hex digits in either case.
  bool matches(std::string_view covered, std::string_view sent) const;
};

}  // namespace tallystick::decode
