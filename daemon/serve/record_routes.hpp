// The routes that read the record: exports and results, from the room export.
#pragma once

#include <vector>

#include "daemon/record/place.hpp"
#include "daemon/serve/http.hpp"

namespace tallystick::serve {

/// For `Surroundings::routes`. A cursor past a branch point is answered with 410 and, besides the problem's
/// members, "branch_point" (key of the last event that still stands) and "cursor" (to go on with, also in
/// Tallystick-Cursor).
std::vector<Route> record_routes(record::Place place);

}  // namespace tallystick::serve
