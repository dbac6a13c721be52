#include "daemon/walk/working.hpp"

#include <cstdio>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {
namespace {

/// Probability that the true value lies within the limits (JCGM 106:2012, 7.2), of lengths with a known uncertainty.
std::string conformance_of(const checklist::Feature& feature, const PreparedFeature& prepared, const Limits& limits,
                           Quantity value) {
  if (feature.certainty.standard_uncertainty.empty() || prepared.unit.dimension() != Dimension::length) return {};
  const double millimetres = std::stod(feature.certainty.standard_uncertainty) * static_cast<double>(scale_of(prepared.unit).numerator) / 1e9;
  const auto decision = decide_with_uncertainty(limits, value, millimetres, std::stod(feature.certainty.coverage_factor),
                                                DecisionRule::simple, Quantity::of_count(0, prepared.unit));
  if (!decision) return {};
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.6f", decision->conformance);
  return text.data();
}

}  // namespace

std::string to_json_text(const Working& working) { return mirror::text(working); }

Expected<Working> working_from(std::string_view json) { return mirror::parse<Working>(json); }

Expected<std::vector<derive::Input>> inputs_of(const Working& working) {
  std::vector<derive::Input> out;
  for (const auto& input : working.inputs) {
    derive::Input one{input.name, {}, input.sweeps, input.word};
    for (std::size_t n = 0; n < input.values.size(); ++n) {
      const auto unit = Unit::named(n < input.units.size() ? input.units[n] : "");
      if (!unit) return tl::unexpected(unit.error());
      const auto value = Quantity::parse(input.values[n], *unit);
      if (!value) return tl::unexpected(value.error());
      one.values.push_back(*value);
    }
    out.push_back(std::move(one));
  }
  return out;
}

JudgedTexts judged_texts(const checklist::Feature& feature, const PreparedFeature& prepared, const std::string& stage,
                         Quantity value, const Judgement& judgement) {
  JudgedTexts out;
  std::tie(out.value, out.unit) = text_for_print(value, prepared.unit);
  const bool own_unit = out.unit == feature.unit;
  const auto write = [&](const std::optional<Quantity>& quantity) {
    if (!quantity) return std::string();
    if (own_unit) return text_for_print(*quantity, prepared.unit).first;
    const auto other = Unit::named(out.unit);
    return other ? text_for_print(*quantity, *other).first : std::string();
  };
  const auto& limits = prepared.limits_in(stage);
  const auto texts = limit_texts(feature, stage);
  out.nominal = own_unit ? feature.nominal : write(prepared.limits.nominal);
  if (prepared.unjudged) return out;
  out.lower = own_unit ? texts.lower : write(limits.lower);
  out.upper = own_unit ? texts.upper : write(limits.upper);
  out.verdict = std::string(name(judgement.verdict));
  if (judgement.verdict == Verdict::reject) {
    out.side = std::string(name(judgement.side));
    out.by = write(judgement.by);
  }
  if (!feature.certainty.uncertainty.empty())
    if (const auto expanded = Quantity::parse(feature.certainty.uncertainty, difference_unit(prepared.unit))) out.uncertainty = write(*expanded);
  out.conformance = conformance_of(feature, prepared, limits, value);
  return out;
}

WorkedOut work_out(const checklist::Feature& feature, const PreparedFeature& prepared, Working working) {
  working.computation = feature.derivation.computation;
  working.formula = feature.derivation.formula;
  working.error.clear();
  working.why.clear();
  const auto not_done = [&](const Error& error) {
    working.error = error.code;
    working.why = error.what + (error.where.empty() ? "" : " (" + error.where + ")");
    return WorkedOut{std::move(working), {}};
  };
  const auto inputs = inputs_of(working);
  if (!inputs) return not_done(inputs.error());
  auto derived = derive::derive(feature.derivation.computation, feature.derivation.formula, *inputs, prepared.unit);
  if (!derived) return not_done(derived.error());
  working.steps = std::move(derived->working);
  working.unrounded = std::move(derived->unrounded);
  return {std::move(working), derived->value};
}

}  // namespace tallystick::walk
