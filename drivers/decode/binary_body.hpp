// The inside of a frame that is no text: digits packed into nibbles or a whole number of a few bytes, a sign,
// a place of the decimal mark, a unit, a status and a channel as masked bits. Described by a dialect's
// [binary]; what comes out are the same named parts that a text frame has, so everything behind is shared.
// Pure, exact: no floating point anywhere. Immutable, may be shared by threads.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "drivers/decode/fields.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick::decode {

/// How the value stands in its bytes. `packed`: two decimal digits a byte; `unpacked`: one digit a byte, in
/// its low nibble; the others are whole numbers.
enum class BinaryForm : std::uint8_t { packed, unpacked, whole, twos_complement, sign_magnitude };

/// Bits of one byte, counted from 0 at the body's first byte: masked, then moved down to bit 0.
struct BinaryBits {
  std::size_t at = 0;
  std::uint8_t mask = 0xFF;
  std::uint8_t of(std::string_view body) const;
};

struct BinaryValue {
  std::size_t at = 0;
  std::size_t width = 1;  ///< bytes
  BinaryForm form = BinaryForm::packed;
  bool low_byte_first = false;
  bool low_nibble_first = false;  ///< packed: a byte's low nibble is the more significant digit
  std::size_t skip = 0;           ///< packed: most significant nibbles that are no digits of the value
  std::size_t digits = 0;         ///< packed: how many digits follow them; 0: all that are left
  std::uint8_t zone = 0;          ///< unpacked: what the high nibble must be
  std::optional<std::uint8_t>
      blank;  ///< a nibble that stands for a leading zero that the display leaves dark
};

struct BinarySign {
  BinaryBits bits;
  std::uint8_t negative = 1, positive = 0;  ///< any other is not_a_number
};

struct BinaryLiteral {
  BinaryBits bits;
  std::uint8_t is = 0;
};

struct BinaryLayout {
  std::size_t width = 0;  ///< of the body; a body of another width is not_mine
  BinaryValue value;
  std::optional<BinarySign> sign;
  std::optional<BinaryBits> places;  ///< how many decimal places the value has; 0 to 9
  std::optional<BinaryBits> unit, status, channel;
  std::vector<BinaryLiteral> literals;
  std::vector<BinaryBits> ignored;
  std::vector<std::string> no_value;  ///< the value's bytes that mean "nothing measured"
};

/// A layout made ready. Bits that nothing names must be zero.
class BinaryBody {
 public:
  /// `layout` must keep to its own width (the dialect's reader sees to that).
  explicit BinaryBody(BinaryLayout layout);

  /// What the views of `Fields` may point to; the caller keeps it as long as them.
  struct Scratch {
    std::array<char, 24> digits{};
    int places = -1;  ///< -1: the frame does not say
  };

  /// Nothing: `fields` are filled. The value's characters are decimal digits; where the bytes are none it
  /// holds a character that is no digit, so that it is refused as a number, but after the status was read.
  /// Unit, status and channel are the bits as a decimal number. Refusal not_mine.
  std::optional<Refusal> read(std::string_view body, Fields& fields, Scratch& scratch) const;
  bool means_no_value(std::string_view body) const;
  bool has(Field field) const;
  const BinaryLayout& layout() const { return layout_; }

 private:
  std::string_view read_digits(std::string_view body, Scratch& scratch) const;
  std::string_view read_whole(std::string_view body, Scratch& scratch, bool& negative) const;

  BinaryLayout layout_;
  std::vector<std::pair<std::size_t, unsigned>> nibbles_;  ///< byte and shift, most significant digit first
  std::vector<std::uint8_t> unnamed_;                      ///< a byte's bits that must be zero
};

/// Nibbles of a packed or unpacked value, most significant first: byte of the body and shift in it.
std::vector<std::pair<std::size_t, unsigned>> nibbles_of(const BinaryValue& value);
/// Places and bits of the body that the value takes.
std::vector<std::pair<std::size_t, std::uint8_t>> bits_of(const BinaryValue& value);

}  // namespace tallystick::decode
