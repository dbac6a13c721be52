// General tolerances of ISO 2768-1:1989 for dimensions that state none of their own: Table 1 linear, Table 2
// broken edges (radii and chamfer heights), Table 3 angles. Whether a print uses them stands beside its title
// block. Exact, pure, any thread.
#pragma once

#include <cstdint>
#include <string_view>

#include "daemon/measure/limits.hpp"

namespace tallystick {

/// f fine, m medium, c coarse, v very coarse.
enum class GeneralClass : std::uint8_t { fine, medium, coarse, very_coarse };
std::string_view letter(GeneralClass general_class);
/// "f", "m", "c", "v". Error "unknown_class".
Expected<GeneralClass> general_class_named(std::string_view letter);

enum class GeneralKind : std::uint8_t { linear, edge, angle };
std::string_view name(GeneralKind kind);
/// "linear", "edge", "angle". Error "unknown_word".
Expected<GeneralKind> general_kind_named(std::string_view name);

/// The permitted deviation, plus and minus: a length in mm, for `angle` an angle in dms. `size` is a length:
/// the nominal, for `angle` the shorter side. A size on a border belongs to the row that it ends; 0.5 mm to
/// the first row. Errors "wrong_unit", "out_of_range" (below 0.5 mm the deviation stands at the dimension;
/// above 4000 mm), "not_tabulated" (no value for this class there).
Expected<Quantity> general_tolerance(Quantity size, GeneralClass general_class, GeneralKind kind);

}  // namespace tallystick
