#include "daemon/measure/judging.hpp"

namespace tallystick {
namespace {

/// Whether `value` lies outside `limits` moved by `band`, outwards above 0.
Expected<bool> outside(const Limits& limits, Quantity value, Quantity band) {
  if (limits.lower) {
    const auto edge = subtract(*limits.lower, band);
    if (!edge) return tl::unexpected(edge.error());
    if (value < *edge) return true;
  }
  if (limits.upper) {
    const auto edge = add(*limits.upper, band);
    if (!edge) return tl::unexpected(edge.error());
    if (value > *edge) return true;
  }
  return false;
}

/// Something must be left to accept between the guard bands.
Done room_for(const Limits& limits, Quantity guard) {
  if (!limits.lower || !limits.upper) return {};
  const auto lower = add(*limits.lower, guard), upper = subtract(*limits.upper, guard);
  if (!lower || !upper) return tl::unexpected(lower ? upper.error() : lower.error());
  if (*lower <= *upper) return {};
  return fail("guard_too_wide", "the guard bands of " + guard.text() + " leave nothing to accept", "",
              "measure with less uncertainty, or choose simple acceptance");
}

}  // namespace

Expected<Judgement> judge(const Limits& limits, Quantity value, const JudgingRule& rule) {
  Quantity used = value;
  if (rule.method != JudgingMethod::absolute) {
    const auto shortened = rounded(value, rule.unit, rule.decimals, rule.method);
    if (!shortened) return tl::unexpected(shortened.error());
    used = *shortened;
  }
  auto judgement = judge(limits, used);
  if (!judgement || rule.decision == DecisionRule::simple || rule.guard.count() == 0) return judgement;
  if (auto done = room_for(limits, rule.guard); !done) return tl::unexpected(done.error());
  const Quantity inwards = Quantity::of_count(-rule.guard.count(), rule.guard.unit());
  const auto not_proven_good = outside(limits, used, inwards);
  const auto proven_bad = outside(limits, used, rule.guard);
  if (!not_proven_good || !proven_bad) return tl::unexpected(not_proven_good ? proven_bad.error() : not_proven_good.error());
  judgement->verdict = *proven_bad ? Verdict::reject : *not_proven_good ? Verdict::undecided : Verdict::accept;
  return judgement;
}

}  // namespace tallystick
