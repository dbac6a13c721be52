// Counters and states for monitoring, as OpenMetrics 1.0 text: made at each asking from what the desk already
// knows.
#pragma once

#include <boost/json.hpp>
#include <cstddef>
#include <string>

namespace tallystick::serve {

/// What is told. All arrays as the routes of the same name give them; null or empty where there is nothing to
/// tell.
struct Measured {
  boost::json::value ports, recent, gauges, walks, suspects;
  boost::json::object health;
  std::size_t faults = 0, connections = 0, benches = 0;
  bool kept = true;
  std::string version;
};

inline constexpr const char* metrics_media_type =
    "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Ends in "# EOF\n". Names of people and values of parts are not in it.
std::string metrics_text(const Measured& measured);

}  // namespace tallystick::serve
