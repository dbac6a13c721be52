// The printed tables of ISO 286-1 as data. Inside this room only; iso286.hpp is the way to them.
#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <string_view>

namespace tallystick::iso286 {

inline constexpr int step_count = 21;     ///< nominal size steps of the standard tolerances, 0 to 3150 mm
inline constexpr int range_count = 41;    ///< the finer ranges of the fundamental deviations, 0 to 3150 mm
inline constexpr int ranges_to_500 = 25;  ///< of them, up to and including 500 mm
inline constexpr int grade_count = 20;    ///< IT01 IT0 IT1 ... IT18
inline constexpr int column_count = 29;
inline constexpr std::int16_t not_tabulated = std::numeric_limits<std::int16_t>::min();

/// The place of grade IT<n> (n from 0) in a row of tolerances; IT01 is at 0.
constexpr int grade(int n) { return n + 1; }
inline constexpr int finest = 0, coarsest = grade_count - 1;

/// One letter, for the grades (places) from `first` to `last`.
struct ShaftColumn {
  std::string_view letters;
  int first, last;
  std::array<std::int16_t, range_count> um;
};

/// The upper end of each, which belongs to it; the lower end does not.
extern const std::array<int, step_count> step_ends_mm;
extern const std::array<int, range_count> range_ends_mm;
extern const std::array<std::array<std::int32_t, grade_count>, step_count> tolerances_tenth_um;
/// js has none (it is centred); k stands for grades 4 to 7 and is 0 elsewhere.
extern const std::array<ShaftColumn, column_count> shaft_columns;
extern const std::array<std::array<std::int16_t, ranges_to_500>, 3> holes_j_um;

}  // namespace tallystick::iso286
