// An input that works for every computation that compute_derived.cpp offers.
#pragma once

#include <string_view>

namespace tallystick::cli {

/// Empty where there is none (a test looks for that).
std::string_view derived_example(std::string_view name);

}  // namespace tallystick::cli
