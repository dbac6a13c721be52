// How several readings of one feature become its result.
#pragma once

#include <span>
#include <string_view>

#include "daemon/measure/judging.hpp"

namespace tallystick {

/// `each`: every reading is judged by itself, the result stores least and greatest (a size at several places).
/// The others make one value that is judged: `mean` (exact sum, its division rounded to the count, half to even),
/// `median` (likewise for an even number), `range` (greatest minus least), `greatest`, `least`.
enum class Reduction : std::uint8_t { each, mean, median, range, greatest, least };
std::string_view name(Reduction reduction);
Expected<Reduction> reduction_named(std::string_view name);

struct Reduced {
  Quantity value;  ///< for `each`: the reading that lies worst (least inside, or farthest outside); else the reduced value
  Quantity least;
  Quantity greatest;
  Judgement judgement;
};

/// Error "no_readings", "wrong_unit", "overflow". A range of temperature points is a temperature difference.
/// Judged by `rule`.
Expected<Reduced> reduce(Reduction reduction, std::span<const Quantity> readings, const Limits& limits,
                         const JudgingRule& rule = {});

}  // namespace tallystick
