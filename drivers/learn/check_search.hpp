// Which check, if any, the frames carry at their end. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "drivers/decode/checksum.hpp"
#include "drivers/learn/frames.hpp"

namespace tallystick::learn {

struct FoundCheck {
  decode::Checksum checksum;
  std::string kind;         ///< as a dialect names it
  std::size_t in_body = 0;  ///< bytes at the body's end that belong to it
};

struct CheckSearch {
  std::optional<FoundCheck> found;
  bool several = false;  ///< more than one kind fits: more presses tell them apart
  bool too_few = false;  ///< one fits, but so few frames might fit by chance
};

/// Tries every known kind over every usual extent. A check is only believed where chance would not bring it
/// about.
CheckSearch find_check(const Cut& cut);

}  // namespace tallystick::learn
