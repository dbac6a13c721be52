#include "daemon/measure/rounding.hpp"

#include <array>
#include <cmath>

#include "daemon/measure/whole.hpp"

namespace tallystick {
namespace {

constexpr std::array<std::string_view, 3> names = {"absolute", "half_even", "half_up"};
constexpr double picometres_a_millimetre = 1e9;

}  // namespace

std::string_view name(JudgingMethod method) { return names[static_cast<std::size_t>(method)]; }

Expected<JudgingMethod> judging_method_named(std::string_view name) {
  for (std::size_t n = 0; n < names.size(); ++n)
    if (names[n] == name) return static_cast<JudgingMethod>(n);
  return fail("unknown_word", quoted(name) + " is no method of judging", {},
              "absolute, half_even or half_up");
}

Expected<Quantity> rounded(Quantity value, Unit unit, int decimals, JudgingMethod method) {
  if (method == JudgingMethod::absolute) return value;
  if (!convertible(value.unit(), unit))
    return fail("wrong_unit", "a value in " + std::string(value.unit().name()) + " cannot be rounded in " +
                                  std::string(unit.name()));
  const auto scale = scale_of(unit);
  if (scale.denominator != 1)
    return fail("wrong_unit", "rounding is not declared in " + std::string(unit.name()), {},
                "use a unit of linear scale");
  std::int64_t step = scale.numerator;
  for (int place = 0; place < decimals; ++place) {
    if (step % 10 != 0)
      decimals = -1;
    else
      step /= 10;
  }
  if (decimals < 0)
    return fail("out_of_range", "so many decimals of " + std::string(unit.name()) + " are finer than a count",
                {}, "declare fewer decimals");
  const std::int64_t zero = scale.zero_numerator;
  const whole::Wide from_zero = whole::Wide{value.count()} - zero;
  const bool negative = from_zero < 0;
  const whole::Wide size = negative ? -from_zero : from_zero;
  whole::Wide steps = size / step;
  const whole::Wide twice = 2 * (size % step);
  if (twice > step || (twice == step && (method == JudgingMethod::half_up || steps % 2 == 1))) ++steps;
  const whole::Wide count = (negative ? -steps * step : steps * step) + zero;
  if (!whole::fits(count)) return fail("overflow", "the rounded value does not fit its count");
  return Quantity::of_count(whole::narrow(count), value.unit());
}

Expected<RoundedJudgement> judge(const Limits& limits, Quantity value, Unit unit, int decimals,
                                 JudgingMethod method) {
  const auto used = rounded(value, unit, decimals, method);
  if (!used) return tl::unexpected(used.error());
  const auto judgement = judge(limits, *used);
  if (!judgement) return tl::unexpected(judgement.error());
  return RoundedJudgement{*used, *judgement};
}

Expected<Quantity> of_millimetres(double millimetres, int decimals) {
  if (!std::isfinite(millimetres))
    return fail("not_a_number", "the computation has no finite result", {},
                "look at the readings that went in");
  if (decimals < 0 || decimals > 9)
    return fail("out_of_range", "a length has 0 to 9 decimals of a millimetre");
  const double step = std::pow(10.0, 9 - decimals);
  const double steps = std::nearbyint(millimetres * (picometres_a_millimetre / step));
  if (std::abs(steps) * step > 9.2e18) return fail("overflow", "the result does not fit its exact count");
  return Quantity::of_count(static_cast<std::int64_t>(steps) * static_cast<std::int64_t>(step), Unit());
}

double in_millimetres(Quantity length) {
  return static_cast<double>(length.count()) / picometres_a_millimetre;
}

}  // namespace tallystick
