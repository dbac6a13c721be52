// The gauges page's own routes: trying a gauge. A tried reading is shown, judged against nothing and kept
// nowhere.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "daemon/serve/http.hpp"
#include "daemon/walk/desk_door.hpp"

namespace tallystick::serve {

/// All of it outlives the routes. I/O thread.
struct GaugeSeams {
  walk::DeskDoor& desk;
  std::function<Done(const std::string& gauge)> begin;  ///< tries it; asks it where it speaks only when asked
  std::function<void(const std::string& gauge)> stop;
  std::function<boost::json::value(const std::string& gauge)> trial;  ///< how it stands; null: never tried
};

/// The bench of the walk that is active at the gauge's bench ("" for none); nothing where no such gauge is
/// registered.
std::optional<std::string> bench_in_walk(const walk::DeskDoor& desk, const std::string& gauge);

/// POST /api/v1/gauges/{gauge}/try (body {} or {"stop": true}) and GET of the same. Errors: "unknown_gauge",
/// "not_now" (a walk is active at its bench: a reading there belongs to the walk), those of asking.
std::vector<Route> gauge_routes(GaugeSeams seams);

}  // namespace tallystick::serve
