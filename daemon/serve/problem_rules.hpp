// The codes of errors that rooms below give and that a person or program can meet: in a problem (HTTP 422),
// as a port's `code`, as a fault. Each has its page at /problems/<code>; a test holds this table against the
// source.
#pragma once

#include <span>
#include <string_view>

namespace tallystick::serve {

struct RuleProblem {
  std::string_view code, title, meaning;
};
std::span<const RuleProblem> rule_problems();

}  // namespace tallystick::serve
