// The description of the interface for programs (OpenAPI 3.1): openapi.json beside this file, embedded when the daemon is
// built. It is written by hand, and held against the table of routes and against all traffic of the tests.
#pragma once

#include <string_view>

namespace tallystick::serve {

std::string_view openapi_document();

}  // namespace tallystick::serve
