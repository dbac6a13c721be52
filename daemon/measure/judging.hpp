// How an edition judges: by which method, and by which decision rule. Everything that is judged goes through here.
#pragma once

#include "daemon/measure/rounding.hpp"
#include "daemon/measure/uncertainty.hpp"

namespace tallystick {

/// The absolute method and simple acceptance, unless the edition says otherwise.
struct JudgingRule {
  JudgingMethod method = JudgingMethod::absolute;
  int decimals = 0;                             ///< of `unit`, to which the method rounds
  Unit unit;
  DecisionRule decision = DecisionRule::simple;
  Quantity guard;                               ///< guard band of stringent acceptance: the expanded uncertainty (ISO 14253-1)

  bool operator==(const JudgingRule&) const = default;
};

/// Rounds where the method rounds, then compares exactly. Stringent: inside both limits by the guard band or more is
/// accepted, outside a limit by more than it is rejected, `undecided` between (ISO 14253-1:2017, 5). `side` and `by` are
/// always of the limits themselves. Errors "wrong_unit", "overflow".
Expected<Judgement> judge(const Limits& limits, Quantity value, const JudgingRule& rule);

}  // namespace tallystick
