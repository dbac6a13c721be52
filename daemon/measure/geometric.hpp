// Features of ISO 1101 / ASME Y14.5 that hand gauges can answer, judged exactly.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "daemon/measure/limits.hpp"

namespace tallystick::geometric {

/// What a position tolerance says of the size: nothing (regardless of it), at maximum or at least material.
enum class Material : std::uint8_t { regardless, maximum, least };
std::string_view name(Material material);
/// "regardless", "maximum", "least". Error "unknown_word".
Expected<Material> material_named(std::string_view name);

/// The size of a hole or shaft beside its limits, where a bonus depends on it.
struct Size {
  Quantity actual;
  Limits limits;  ///< both are needed
  bool hole = true;
};

/// 2 sqrt(dx^2 + dy^2) against a tolerance that a size may add to: ASME Y14.5-2009, 7.3 and 7.4 (clause
/// numbers from memory); bonus = how far the size has left maximum (or least) material, never negative, at
/// most the size's own tolerance.
struct Position {
  Quantity deviation;  ///< diametral, to the picometre nearest; for showing: the verdict comes from the
                       ///< squares, exactly
  Quantity bonus;
  Quantity tolerance;        ///< with the bonus
  Judgement judgement;       ///< `by` is tolerance less deviation, from the shown deviation
  bool size_accepts = true;  ///< false: the size itself is outside, and no bonus makes the part good
};
/// Errors: "wrong_unit", "out_of_range" (a tolerance below 0), "missing_field" (material but no size or a
/// limit of it), "overflow".
Expected<Position> position(Quantity dx, Quantity dy, Quantity tolerance,
                            Material material = Material::regardless, const Size* size = nullptr);

/// Twice the greatest eccentricity of n sections to the datum axis: ISO 1101:2017, 17.13 for an axis (from
/// memory). What n sections say, and no more.
struct Coaxiality {
  Quantity deviation;
  std::size_t sections = 0, worst = 0;
  Judgement judgement;
};
struct Offset {
  Quantity dx, dy;
};
/// Errors: "too_few_points" (no section), "wrong_unit", "out_of_range", "overflow".
Expected<Coaxiality> coaxiality(std::span<const Offset> sections, Quantity tolerance);

/// The answer for a concentricity of median points (ASME Y14.5-2009, 7.6.4; taken out in 2018; from memory):
/// error "not_by_hand_gauges" with the reason and what to ask instead.
Error concentricity_refused();

/// Circular runout: the greatest span of any one section; total runout: the span over all of them (ISO
/// 1101:2017, 17.15 and 17.16; from memory). The part turns about its datum axis, and for total runout the
/// indicator keeps its zero between sections. Errors: "too_few_points", "wrong_unit".
struct Runout {
  Quantity circular, total;
  std::size_t worst_section = 0;
};
Expected<Runout> runout(std::span<const std::vector<Quantity>> sections);

/// Parallelism of a face whose datum face lies on the plate, from heights: greatest less least. Errors as
/// above.
Expected<Quantity> parallelism(std::span<const Quantity> heights);

/// Perpendicularity of a line to the plate from an indicator at two heights of a square: the difference,
/// brought from the distance of the heights to the whole length, rounded to the count half to even. Errors
/// "wrong_unit", "out_of_range" (distance or length not above 0, or a length below the distance), "overflow".
Expected<Quantity> perpendicularity(Quantity reading_low, Quantity reading_high, Quantity distance,
                                    Quantity length);

}  // namespace tallystick::geometric
