// The view of a bench (VIEW.md), worked out anew from the committed state. Pure.
#pragma once

#include <boost/json.hpp>
#include <deque>
#include <map>
#include <string>

#include "daemon/walk/decide.hpp"

namespace tallystick::walk {

/// How a gauge's port stands, as the ports say it. In memory only.
struct GaugeLine {
  std::string port_state = "absent";
  std::string why;
  std::int64_t since_utc_us = 0, last_heard_utc_us = 0;
};

struct EarlierValue {
  std::int64_t serial = 0;
  std::string value;
};

/// What a view shows besides the states.
struct Surrounding {
  std::map<std::string, GaugeLine> lines;                                        ///< by gauge
  std::map<std::string, std::map<std::string, std::deque<EarlierValue>>> earlier;  ///< lot -> feature -> oldest first
  std::map<std::string, boost::json::object> traces;   ///< by gauge: the capture that runs, as VIEW.md's `trace`
  bool kept = true;
  std::string not_kept_code, not_kept_why, not_kept_hint;
  bool clock_trusted = true;
  std::string clock_code, clock_why;
};

/// All members of VIEW.md but `sequence` and `sound`, which the desk adds.
boost::json::object bench_view(const States& states, const Context& context, const Surrounding& surrounding,
                               const std::string& bench, const Stamp& now);

/// The settings of a bench's gauges that are asked for: ask -> gauge.
std::map<std::string, std::string> setting_asks(const States& states, const Context& context, const std::string& bench,
                                                const Stamp& now);

/// Results that stand suspect, each with what is known of its part and what may be decided (API.md).
boost::json::array suspect_rows(const States& states);

}  // namespace tallystick::walk
