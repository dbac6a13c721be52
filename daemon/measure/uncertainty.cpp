#include "daemon/measure/uncertainty.hpp"

#include <array>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

#include "daemon/measure/rounding.hpp"

namespace tallystick {
namespace {

constexpr std::array<std::string_view, 5> distributions = {"standard", "normal_k2", "rectangular",
                                                           "triangular", "arcsine"};
constexpr std::array<std::string_view, 2> rules = {"simple", "stringent"};

double divisor(Distribution distribution) {
  switch (distribution) {
    case Distribution::standard:
      return 1;
    case Distribution::normal_k2:
      return 2;
    case Distribution::rectangular:
      return std::sqrt(3.0);
    case Distribution::triangular:
      return std::sqrt(6.0);
    case Distribution::arcsine:
      return std::sqrt(2.0);
  }
  return 1;
}

double coverage(double probability, double freedom) {
  const double upper = (1 + probability) / 2;
  if (!std::isfinite(freedom)) return boost::math::quantile(boost::math::normal(), upper);
  return boost::math::quantile(boost::math::students_t(std::max(1.0, std::floor(freedom))), upper);
}

}  // namespace

std::string_view name(Distribution distribution) {
  return distributions[static_cast<std::size_t>(distribution)];
}

Expected<Distribution> distribution_named(std::string_view name) {
  for (std::size_t n = 0; n < distributions.size(); ++n)
    if (distributions[n] == name) return static_cast<Distribution>(n);
  return fail("unknown_word", quoted(name) + " is no distribution", {},
              "standard, normal_k2, rectangular, triangular or arcsine");
}

std::string_view name(DecisionRule rule) { return rules[static_cast<std::size_t>(rule)]; }

Expected<DecisionRule> decision_rule_named(std::string_view name) {
  for (std::size_t n = 0; n < rules.size(); ++n)
    if (rules[n] == name) return static_cast<DecisionRule>(n);
  return fail("unknown_word", quoted(name) + " is no decision rule", {}, "simple or stringent");
}

Expected<Budget> budget(std::span<const Contribution> contributions, double probability) {
  if (contributions.empty())
    return fail("no_readings", "no contribution is given", {}, "state at least the gauge's");
  if (!(probability > 0 && probability < 1))
    return fail("out_of_range", "a probability lies between 0 and 1", "probability");
  Budget out;
  double variance = 0, shared = 0;
  for (const auto& one : contributions) {
    if (!std::isfinite(one.amount) || !std::isfinite(one.sensitivity) || std::isnan(one.freedom))
      return fail("not_a_number", "this is no finite number", one.name);
    if (one.amount < 0) return fail("out_of_range", "an amount is not below 0", one.name);
    if (one.freedom < 1)
      return fail("out_of_range", "at least one degree of freedom is needed", one.name,
                  "take the scatter from more readings");
    const double u = std::abs(one.sensitivity) * one.amount / divisor(one.distribution);
    variance += u * u;
    if (std::isfinite(one.freedom)) shared += u * u * u * u / one.freedom;
    out.lines.push_back({one.name, u, 0, one.freedom});
  }
  for (auto& line : out.lines)
    line.share = variance > 0 ? line.standard_uncertainty * line.standard_uncertainty / variance : 0;
  out.combined = std::sqrt(variance);
  out.freedom = shared > 0 ? variance * variance / shared : std::numeric_limits<double>::infinity();
  out.coverage_factor = coverage(probability, out.freedom);
  out.expanded = out.coverage_factor * out.combined;
  return out;
}

Expected<Decision> decide_with_uncertainty(const Limits& limits, Quantity value, double u, double k,
                                           DecisionRule rule, Quantity guard) {
  if (value.dimension() != Dimension::length) return fail("wrong_unit", "a length is needed here");
  if (!std::isfinite(u) || u < 0)
    return fail("out_of_range", "an uncertainty is not below 0", "standard_uncertainty");
  if (guard.count() < 0) return fail("out_of_range", "a guard band is not below 0", "guard");
  const Quantity band = rule == DecisionRule::simple ? Quantity::of_count(0, guard.unit()) : guard;
  Decision out;
  std::optional<Quantity> lower, upper, rejects_below, rejects_above;
  const auto moved = [](const std::optional<Quantity>& limit, Quantity by,
                        bool up) -> Expected<std::optional<Quantity>> {
    if (!limit) return std::optional<Quantity>();
    const auto there = up ? add(*limit, by) : subtract(*limit, by);
    if (!there) return tl::unexpected(there.error());
    return std::optional(*there);
  };
  for (auto [place, limit, up] : {std::tuple{&lower, &limits.lower, true},
                                  {&upper, &limits.upper, false},
                                  {&rejects_below, &limits.lower, false},
                                  {&rejects_above, &limits.upper, true}}) {
    const auto there = moved(*limit, band, up);
    if (!there) return tl::unexpected(there.error());
    *place = *there;
  }
  if (lower && upper && *lower > *upper)
    return fail("guard_too_wide", "the guard bands leave nothing to accept", "guard",
                "measure with less uncertainty, or choose another rule");
  const auto zone = Limits::direct(lower, upper);
  if (!zone) return tl::unexpected(zone.error());
  out.acceptance = *zone;
  const auto inside = judge(out.acceptance, value);
  if (!inside) return tl::unexpected(inside.error());
  if (inside->verdict == Verdict::accept)
    out.verdict = Verdict::accept;
  else if (rule == DecisionRule::stringent && !(rejects_below && value < *rejects_below) &&
           !(rejects_above && value > *rejects_above))
    out.verdict = Verdict::undecided;
  const double at = in_millimetres(value);
  const auto below = [&](const std::optional<Quantity>& limit, double where_none) {
    if (!limit) return where_none;
    const double distance = in_millimetres(*limit) - at;
    if (u == 0) return distance > 0 ? 1.0 : distance < 0 ? 0.0 : where_none;
    return boost::math::cdf(boost::math::normal(), distance / u);
  };
  out.conformance = std::max(0.0, below(limits.upper, 1) - below(limits.lower, 0));
  out.risk = out.verdict == Verdict::reject ? out.conformance : 1 - out.conformance;
  if (limits.lower && limits.upper && k * u > 0)
    out.ratio = (in_millimetres(*limits.upper) - in_millimetres(*limits.lower)) / (k * u);
  return out;
}

}  // namespace tallystick
