// Rounding where an edition declares it, and only there: exact, on counts, never through binary floating
// point.
#pragma once

#include <string_view>

#include "daemon/measure/limits.hpp"

namespace tallystick {

/// `absolute`: the value is judged as it was observed (ASTM E29-13, section 5; what every edition does unless
/// it says otherwise). `half_even`: an observed value is first rounded to the last place of the limit, a tie
/// to the even digit (ASTM E29-13, 6.4; ISO 80000-1:2009, B.3 rule A). `half_up`: the same with a tie away
/// from zero (ISO 80000-1:2009, B.3 rule B). Clause numbers from memory.
enum class JudgingMethod : std::uint8_t { absolute, half_even, half_up };
std::string_view name(JudgingMethod method);
/// Error "unknown_word".
Expected<JudgingMethod> judging_method_named(std::string_view name);

/// `value` at `decimals` places of `unit`. `absolute` leaves it alone. Errors "wrong_unit", "overflow",
/// "out_of_range" (decimals beyond what the base holds, or below 0). Precondition: a unit of linear scale
/// without degF.
Expected<Quantity> rounded(Quantity value, Unit unit, int decimals, JudgingMethod method);

/// Judges by a method: the value is rounded to `decimals` of `unit` first, where the method rounds. `used` is
/// what was compared: it stands beside the verdict wherever that is shown.
struct RoundedJudgement {
  Quantity used;
  Judgement judgement;
};
Expected<RoundedJudgement> judge(const Limits& limits, Quantity value, Unit unit, int decimals,
                                 JudgingMethod method);

/// What a computation in binary floating point gives to the judge: the nearest count at `decimals` places of
/// a millimetre, half to even. Errors "not_a_number", "overflow".
Expected<Quantity> of_millimetres(double millimetres, int decimals = 6);
/// The nearest double.
double in_millimetres(Quantity length);

}  // namespace tallystick
