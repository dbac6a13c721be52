// Replies of instruments that answer with numbers as IEEE 488.2 writes them: whole (NR1, "146"), with a point
// (NR2, "12.3"), with an exponent (NR3, "1.23E+1"), several with commas between, each perhaps with a suffix
// that names its unit ("12.3 MM"). One of them is the value. Pure.
//
// Sources: IEEE 488.2-1992, 8.7.2 to 8.7.4 (NR1, NR2, NR3) and 7.7.3 (suffixes) as public programming guides
// quote them (tests/reference/data/serial_and_nr_formats.csv); SCPI-99 volume 1, 7.2.1 (9.9E37 is infinity,
// 9.91E37 is not a number), from memory.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

namespace tallystick::decode {

/// Which of how many numbers is the value.
struct NumericReply {
  int fields = 1;
  int field = 1;  ///< counted from 1
};

/// The value's number and suffix (empty: none) as views into `body`. False: it is not of this shape.
bool find_number(const NumericReply& reply, std::string_view body, std::string_view& number,
                 std::string_view& suffix);

/// What an instrument writes where it has no number. Compared as a number: "+9.91000E+37" is the same.
enum class NoNumber : std::uint8_t { it_is_one, not_a_number, infinity };
NoNumber no_number(std::string_view number);

/// Suffixes that mean a unit of ours: multiplier and unit of the standard together ("MM" is the millimetre,
/// "MV" the millivolt; by exception of the standard "MHZ" is the megahertz, which we have not).
struct Suffix {
  std::string_view text;  ///< capital letters; either case counts
  std::string_view unit;  ///< a name of Unit
};
const std::vector<Suffix>& unit_suffixes();

}  // namespace tallystick::decode
