// What an expression is made of, between its reader and its working out. Inside this room only.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/checklist/expression.hpp"

namespace tallystick::checklist {

struct Expression::Node {
  enum class Kind {
    decimal,
    column,  // leaves
    add,
    subtract,
    multiply,
    divide,
    negate,  // of values
    least,
    greatest,
    round,  // min, max, round
    equal,
    differs,
    less,
    at_most,
    more,
    at_least,
    given,
    both,
    either,
    negation  // conditions
  };
  Kind kind = Kind::decimal;
  Rational value;            // decimal
  std::optional<Unit> unit;  // decimal with a unit
  std::string text;          // column's name, decimal as written
  std::vector<Node> arguments;
};

}  // namespace tallystick::checklist
