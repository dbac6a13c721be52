// The records page's routes: facts, parts and walks from the newest back, and the full history of a part or a
// walk.
#pragma once

#include <vector>

#include "daemon/record/place.hpp"
#include "daemon/serve/http.hpp"

namespace tallystick::serve {

/// For `Surroundings::routes`; all on the pool. The filters are those of the exports, and `before` (the
/// `cursor` of the page before), `until` (of the first page: what came later stays out), `limit` (1 to 500,
/// else 100).
std::vector<Route> history_routes(record::Place place);

}  // namespace tallystick::serve
