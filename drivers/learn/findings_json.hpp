// Findings as JSON, for programs and pages. Pure.
#pragma once

#include <boost/json.hpp>
#include <vector>

#include "drivers/learn/learn.hpp"

namespace tallystick::learn {

/// [{"code", "text", "detail"}]
boost::json::array remarks_json(const std::vector<Remark>& remarks);
/// {"known": [{"dialect", "about", "line", "other_settings", "read"}], "proposals": [{"line", "toml", "read",
/// "unseen", "binary", "checked"}], "missing": [...]}
boost::json::object findings_json(const Findings& findings);
/// A press: {"line", "bytes_hex", "readable", "shown"} (shown: null while nobody said it).
boost::json::object press_json(const Press& press);

}  // namespace tallystick::learn
