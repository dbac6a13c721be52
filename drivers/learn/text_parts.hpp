// The text beside the number: cut into columns that all frames share, each explained by what is known of the
// presses. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "drivers/learn/shape.hpp"

namespace tallystick::learn {

/// What is known of one press while its frame is explained.
struct Known {
  const Press* press = nullptr;
  bool negative() const { return press->shown->negative && !press->shown->zero(); }
  bool zero() const { return press->shown->zero(); }
};

/// One side of the number in every frame, explained. Fields that stand here are noted in the flags.
struct Side {
  std::string pattern;
  bool sign = false, unit = false, status = false, channel = false;
  std::optional<Remark> unexplained;
};

/// Explains `texts` (one a frame, the same side of the number in each). Adds what the texts of unit and
/// status mean to `shape`, and comments. `taken`: fields that were found before and are not looked for again.
Side explain(const std::vector<std::string>& texts, const std::vector<Known>& known, const Side& taken,
             bool sign_wanted, Shape& shape);

/// A text as a pattern that matches it alone.
std::string escaped(std::string_view text);
/// The unit that a text usually means; empty where none.
std::string unit_meant(std::string_view text);

}  // namespace tallystick::learn
