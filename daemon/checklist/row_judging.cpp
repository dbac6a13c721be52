// How sure a value is, what is decided with it, and what a finish will add: worked out into the edition.
#include <charconv>

#include "daemon/checklist/row_worker.hpp"
#include "daemon/measure/judging.hpp"

namespace tallystick::checklist {
namespace {

std::string shortest(double value) {
  std::array<char, 32> out{};
  const auto end = std::to_chars(out.data(), out.data() + out.size(), value);
  return {out.data(), end.ptr};
}

/// The amount in `unit` as a plain double, for the root of a sum of squares.
double as_number(Quantity value, Unit unit) {
  const auto scale = scale_of(unit);
  return static_cast<double>(value.count()) * static_cast<double>(scale.denominator) / static_cast<double>(scale.numerator);
}

/// Rounded up at the sixth decimal of the unit: an uncertainty is never made smaller by writing it.
Expected<Quantity> rounded_up(double value, Unit unit) {
  constexpr double most = 1e9;
  if (!(value < most)) return fail("overflow", "the expanded uncertainty is too large");
  const auto micro = static_cast<std::int64_t>(std::ceil(value * 1e6 - 1e-6));
  const auto whole = micro / 1'000'000, rest = micro % 1'000'000;
  auto digits = std::to_string(rest);
  digits.insert(0, 6 - digits.size(), '0');
  return Quantity::parse(std::to_string(whole) + "." + digits, unit);
}

Expected<std::optional<Quantity>> moved(const std::optional<Quantity>& limit, Quantity amount, int times) {
  if (!limit) return std::optional<Quantity>();
  auto out = *limit;
  for (int n = 0; n < std::abs(times); ++n) {
    const auto next = times > 0 ? add(out, amount) : subtract(out, amount);
    if (!next) return tl::unexpected(next.error());
    out = *next;
  }
  return std::optional(out);
}

}  // namespace

bool RowWorker::set_budget(const FeatureSource& source, Unit unit, Feature& feature) {
  const Unit own = difference_unit(unit);
  std::vector<Contribution> contributions;
  for (const auto& line : source.budget) {
    const auto amount = line.amount.expression.work_out(columns_, own);
    if (!amount) return refused(source, "budget, " + line.name, amount.error(), line.amount.line);
    Contribution one{line.name, as_number(*amount, own), *distribution_named(line.distribution)};
    if (!line.freedom.empty()) one.freedom = std::stod(line.freedom);
    contributions.push_back(one);
    feature.certainty.budget.push_back({line.name, amount->text(), line.distribution, line.freedom});
  }
  const auto worked = budget(contributions);
  if (!worked) return refused(source, "budget", worked.error(), source.budget.front().amount.line);
  const auto expanded = rounded_up(worked->expanded, own);
  if (!expanded) return refused(source, "budget", expanded.error(), source.budget.front().amount.line);
  feature.certainty.uncertainty = expanded->text();
  feature.certainty.standard_uncertainty = shortest(worked->combined);
  feature.certainty.coverage_factor = shortest(worked->coverage_factor);
  if (std::isfinite(worked->freedom)) feature.certainty.freedom = shortest(worked->freedom);
  return true;
}

bool RowWorker::set_judging(const FeatureSource& source, const Formulas& formulas, const Limits& limits, Unit unit,
                            Feature& feature) {
  feature.certainty.decision = source.decision.empty() ? family_.decision : source.decision;
  if (!source.budget.empty()) {
    if (!set_budget(source, unit, feature)) return false;
  } else if (formulas.contains("uncertainty")) {
    const Unit own = difference_unit(unit);
    const auto stated = formula(formulas, "uncertainty", own);
    const int line = formulas.at("uncertainty").line;
    if (!stated) return refused(source, "uncertainty", stated.error(), line);
    if ((*stated)->count() <= 0)
      return refused(source, "uncertainty", {"out_of_range", "an uncertainty is above 0", "", "state the expanded uncertainty"}, line);
    feature.certainty.uncertainty = (*stated)->text();
    feature.certainty.coverage_factor = source.coverage_factor.empty() ? "2" : source.coverage_factor;
    feature.certainty.standard_uncertainty = shortest(as_number(**stated, own) / std::stod(feature.certainty.coverage_factor));
  }
  if (feature.certainty.decision == "simple") return true;
  if (feature.certainty.uncertainty.empty())
    return refused(source, "decision",
                   {"missing_key", "stringent acceptance needs to know how sure a value is", "",
                    "add uncertainty = \"0.002 mm\" or [[feature.certainty.budget]], or write decision = \"simple\""});
  JudgingRule rule;
  rule.decision = DecisionRule::stringent;
  rule.guard = *Quantity::parse(feature.certainty.uncertainty, difference_unit(unit));
  const auto possible = judge(limits, limits.lower ? *limits.lower : *limits.upper, rule);
  if (!possible) return refused(source, "decision", possible.error());
  return true;
}

/// ISO 286 and the like know nothing of a finish: what it adds is the shop's own statement, worked out exactly. Each
/// limit is moved by what keeps every build-up within the spread inside the print.
bool RowWorker::set_finish(const FeatureSource& source, const Formulas& formulas, const Limits& limits, Unit unit,
                           Feature& feature) {
  if (!formulas.contains("build_up")) return true;
  const int line = formulas.at("build_up").line;
  const auto amount = formula(formulas, "build_up", unit);
  if (!amount) return refused(source, "build_up", amount.error(), line);
  auto spread = formula(formulas, "build_up_spread", unit);
  if (!spread) return refused(source, "build_up_spread", spread.error(), line);
  const auto scatter = *spread ? **spread : Quantity::of_count(0, unit);
  if ((*amount)->count() <= 0 || scatter.count() < 0 || scatter > **amount)
    return refused(source, "build_up",
                   {"out_of_range", "a build-up of " + (*amount)->text() + " with a spread of " + scatter.text(), "",
                    "above 0, and the spread no more than the build-up"},
                   line);
  const auto least = subtract(**amount, scatter), most = add(**amount, scatter);
  const bool outside = source.material == "outside";
  const auto lower = moved(limits.lower, outside ? *least : *most, outside ? -source.surfaces : source.surfaces);
  const auto upper = moved(limits.upper, outside ? *most : *least, outside ? -source.surfaces : source.surfaces);
  if (!lower || !upper) return refused(source, "build_up", lower ? upper.error() : lower.error(), line);
  if (*lower && *upper && **lower > **upper)
    return refused(source, "build_up",
                   {"build_up_too_wide", "the finish scatters by more than the tolerance: nothing is left before it", "",
                    "a smaller build_up_spread, or a wider tolerance"},
                   line);
  const auto text = [&](const std::optional<Quantity>& value) {
    return value ? written(*value, unit, feature.decimals).text : std::string();
  };
  feature.finish.build_up = (*amount)->text();
  feature.finish.build_up_spread = scatter.text();
  feature.finish.surfaces = source.surfaces;
  feature.finish.lower = text(*lower);
  feature.finish.upper = text(*upper);
  return true;
}

}  // namespace tallystick::checklist
