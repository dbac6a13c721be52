// The faults page's routes: what is wrong and stays until a person clears it.
#pragma once

#include <boost/json.hpp>
#include <functional>
#include <string>
#include <vector>

#include "daemon/serve/http.hpp"

namespace tallystick::serve {

/// I/O thread.
struct NoticeSeams {
  std::function<boost::json::value()> all;
  std::function<Expected<boost::json::value>(const std::string& id, const std::string& person)> clear;
};

/// GET /api/v1/notices; POST /api/v1/notices/{notice}/clear {person}.
std::vector<Route> notice_routes(NoticeSeams seams);

}  // namespace tallystick::serve
