// What a capture was made of, given back: so that whoever wants to can work its value out again.
#pragma once

#include <vector>

#include "daemon/record/place.hpp"
#include "daemon/serve/http.hpp"

namespace tallystick::serve {

/// For `Surroundings::routes`, on the pool: GET /api/v1/captures/{capture}, by the SHA-256 of its bytes or
/// the key of the event that kept it. `form`: "csv" (default: one line a sample), "json" (head and samples),
/// "bytes" (as the record keeps them, drivers/decode/capture_bytes.hpp).
std::vector<Route> capture_routes(record::Place place);

}  // namespace tallystick::serve
