// "Did you mean": the names nearest to what was written.
#pragma once

#include <span>
#include <string>
#include <string_view>

namespace tallystick {

/// Levenshtein's distance, over bytes without regard to the case of ASCII letters.
std::size_t spelling_distance(std::string_view a, std::string_view b);

/// The one of `known` that is spelled most like `found`: at most three letters away, and at most half of it.
/// Empty where none is so near.
std::string_view nearest_name(std::string_view found, std::span<const std::string_view> known);

/// A remedy: "did you mean ...?" where a name is near, else "known here: ..." with all of them.
std::string proposal_of(std::string_view found, std::span<const std::string_view> known);

}  // namespace tallystick
