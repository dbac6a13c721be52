// One formula, read by muParser and worked out at any values of its names. Inside this room only; nothing of
// muParser's leaves formula_text.cpp, exceptions least of all.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::derive {

/// Not copied, not shared between threads.
class FormulaText {
 public:
  /// Errors "unknown_name" (a name that is no input and no function), "bad_formula"; both name the place in
  /// the text, counted from 1, and what stands there.
  static Expected<FormulaText> read(std::string_view text, std::vector<std::string> names);

  /// The value at `values` (one a name, in their order): may be no finite number. Error "bad_formula".
  Expected<double> at(std::span<const double> values);

  /// Empty where `name` may be an input of a formula; else what is wrong with it.
  static std::string fault_of_name(std::string_view name);

  FormulaText(FormulaText&&) noexcept;
  FormulaText& operator=(FormulaText&&) noexcept;
  ~FormulaText();

 private:
  struct Parts;
  explicit FormulaText(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

}  // namespace tallystick::derive
