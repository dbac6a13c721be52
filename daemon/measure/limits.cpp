#include "daemon/measure/limits.hpp"

#include "daemon/measure/whole.hpp"

namespace tallystick {
namespace {

std::string shown(Quantity value) { return value.text() + " " + std::string(value.unit().name()); }

Done same_kind(std::optional<Quantity> a, std::optional<Quantity> b) {
  if (!a || !b || convertible(a->unit(), b->unit())) return {};
  return fail("wrong_unit",
              "limits in " + std::string(a->unit().name()) + " and " + std::string(b->unit().name()), {},
              "state nominal and limits in units of the same dimension");
}

// The amount by which `larger` exceeds `smaller`, in the limit's unit where that can write it.
Expected<Quantity> excess(Quantity larger, Quantity smaller, Quantity limit) {
  auto amount = subtract(larger, smaller);
  if (!amount) return amount;
  const Unit unit = difference_unit(limit.unit());
  return amount->count() % unit.step() == 0 ? Quantity::of_count(amount->count(), unit) : *amount;
}

}  // namespace

std::string_view name(Verdict verdict) {
  switch (verdict) {
    case Verdict::accept:
      return "accept";
    case Verdict::reject:
      return "reject";
    case Verdict::undecided:
      return "undecided";
  }
  return "?";
}

std::string_view name(Side side) { return side == Side::lower ? "lower" : "upper"; }

Expected<Limits> Limits::direct(std::optional<Quantity> lower, std::optional<Quantity> upper,
                                std::optional<Quantity> nominal) {
  if (!lower && !upper)
    return fail("no_limit", "neither a lower nor an upper limit", {}, "state at least one");
  for (const auto& [a, b] : {std::pair{lower, upper}, std::pair{lower, nominal}, std::pair{upper, nominal}}) {
    if (auto same = same_kind(a, b); !same) return tl::unexpected(same.error());
  }
  if (lower && upper && *lower > *upper) {
    return fail("limits_crossed",
                "the lower limit " + shown(*lower) + " is above the upper limit " + shown(*upper), {},
                "exchange them, or look for a wrong sign");
  }
  if (nominal && ((lower && *nominal < *lower) || (upper && *nominal > *upper))) {
    const bool below = lower && *nominal < *lower;
    return fail("nominal_outside",
                "the nominal " + shown(*nominal) +
                    (below ? " is below the lower limit " : " is above the upper limit ") +
                    shown(below ? *lower : *upper),
                {}, "correct the limit, or state the limits by deviations from the nominal");
  }
  return Limits{lower, upper, nominal};
}

Expected<Limits> Limits::plus_minus(Quantity nominal, Quantity amount) {
  if (amount.count() < 0) {
    return fail("limits_crossed", "plus/minus " + shown(amount) + " is negative", {},
                "state the amount without a sign");
  }
  auto lower = subtract(nominal, amount);
  auto upper = add(nominal, amount);
  if (!lower) return tl::unexpected(lower.error());
  if (!upper) return tl::unexpected(upper.error());
  return direct(*lower, *upper, nominal);
}

Expected<Limits> Limits::deviations(Quantity nominal, Quantity lower_deviation, Quantity upper_deviation) {
  auto lower = add(nominal, lower_deviation);
  auto upper = add(nominal, upper_deviation);
  if (!lower) return tl::unexpected(lower.error());
  if (!upper) return tl::unexpected(upper.error());
  // The nominal may lie outside its limits here (25 g6 is 25 -0.007 / -0.020), so only the limits are held
  // against each other.
  auto limits = direct(*lower, *upper);
  if (limits) limits->nominal = nominal;
  return limits;
}

Expected<Judgement> judge(const Limits& limits, Quantity value) {
  if (!limits.lower && !limits.upper) return fail("no_limit", "there is no limit to judge against");
  for (const auto* limit : {&limits.lower, &limits.upper}) {
    if (*limit && (*limit)->unit() != value.unit() && !convertible((*limit)->unit(), value.unit())) {
      return fail("wrong_unit",
                  "a value in " + std::string(value.unit().name()) + " cannot be judged against a limit in " +
                      std::string((*limit)->unit().name()),
                  {}, "state value and limits in units of the same dimension");
    }
  }
  const auto judged = [&value](Verdict verdict, Side side, Quantity limit) -> Expected<Judgement> {
    const auto by = value > limit ? excess(value, limit, limit) : excess(limit, value, limit);
    if (!by) return tl::unexpected(by.error());
    return Judgement{verdict, side, *by};
  };
  if (limits.upper && value > *limits.upper) return judged(Verdict::reject, Side::upper, *limits.upper);
  if (limits.lower && value < *limits.lower) return judged(Verdict::reject, Side::lower, *limits.lower);
  if (!limits.lower) return judged(Verdict::accept, Side::upper, *limits.upper);
  if (!limits.upper) return judged(Verdict::accept, Side::lower, *limits.lower);
  const auto below_upper = whole::Wide{limits.upper->count()} - value.count();
  const auto above_lower = whole::Wide{value.count()} - limits.lower->count();
  return above_lower < below_upper ? judged(Verdict::accept, Side::lower, *limits.lower)
                                   : judged(Verdict::accept, Side::upper, *limits.upper);
}

}  // namespace tallystick
