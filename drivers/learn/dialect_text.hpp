// Writes what was found as a *.dialect.toml. Pure.
#pragma once

#include <optional>
#include <string>

#include "drivers/learn/check_search.hpp"
#include "drivers/learn/learn.hpp"

namespace tallystick::learn {

std::string dialect_text(const Naming& naming, const View& view, const Cut& cut,
                         const std::optional<FoundCheck>& check, const Shape& shape);

}  // namespace tallystick::learn
