// The read-only HTTP answers of this room, free of the server's types: serve makes routes of them.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/record/place.hpp"
#include "daemon/record/reader.hpp"

namespace tallystick::exporting {

/// Gives the next piece of a long answer, nothing at its end; throws std::runtime_error when the record
/// cannot be read on, so that the connection is cut and nobody takes a part for the whole.
using Pull = std::function<std::optional<std::string>()>;

struct Answer {
  std::string media_type;
  std::vector<std::pair<std::string, std::string>> headers;
  std::string body;
  Pull pull;  ///< set: the body follows piece by piece
};

/// Why there is no answer. `branch_point`: the cursor points past it (410), and says how to go on.
struct Refusal {
  Error error;
  std::optional<record::BranchPoint> branch_point;
};

struct Route {
  std::string path;  ///< "/api/v1/export.csv"
  std::function<tl::expected<Answer, Refusal>(const std::map<std::string, std::string>& query)>
      handler;  ///< any thread, several at once; blocking, short
};

/// /api/v1/export.csv, /api/v1/export.jsonl, /api/v1/export/cursor, /api/v1/results. EXPORT.md describes
/// them.
std::vector<Route> routes(record::Place place);

}  // namespace tallystick::exporting
