// Limits by a symbol of the print: worked out into the edition's exact limits, so that nothing behind it
// knows of symbols.
#include "daemon/checklist/row_worker.hpp"
#include "daemon/measure/general_tolerances.hpp"
#include "daemon/measure/iso286.hpp"

namespace tallystick::checklist {
namespace {

Expected<Limits> fit_limits(const std::string& fit, const LimitSymbols& symbols, Quantity nominal) {
  const auto one = iso286::class_from(fit);
  if (!one) return tl::unexpected(one.error());
  const auto odd = iso286::odd_half_named(symbols.js_odd);
  if (!odd) return tl::unexpected(odd.error());
  return iso286::limits(nominal, *one, *odd);
}

Expected<Limits> general_limits(const std::string& general, GeneralKind kind, Quantity nominal,
                                Quantity size) {
  const auto general_class = general_class_named(general);
  if (!general_class) return tl::unexpected(general_class.error());
  const auto tolerance = general_tolerance(size, *general_class, kind);
  if (!tolerance) return tl::unexpected(tolerance.error());
  return Limits::plus_minus(Quantity::of_count(nominal.count(), tolerance->unit()), *tolerance);
}

/// The limits in the feature's unit, where it can write them.
Expected<Limits> limits_in(const Limits& limits, Unit unit) {
  Limits out;
  for (const auto member : {&Limits::nominal, &Limits::lower, &Limits::upper}) {
    const auto there = (limits.*member)->in(unit);
    if (!there)
      return fail("not_exact",
                  "the table's limit " + (limits.*member)->text() + " " +
                      std::string((limits.*member)->unit().name()) + " has no finite decimal in " +
                      std::string(unit.name()),
                  "", "state the limits as the print does, in its unit");
    out.*member = *there;
  }
  return out;
}

}  // namespace

Expected<Limits> RowWorker::limits_by_symbol(const Formulas& formulas, const LimitSymbols& symbols,
                                             std::optional<Quantity> stated, Unit unit) {
  const std::string key = symbols.fit.empty() ? "general" : "fit";
  const auto at_key = [&key](Error error) {
    error.where = key;
    return tl::unexpected(std::move(error));
  };
  if (!stated)
    return at_key({"missing_key", "a fit or general tolerance needs a nominal", "", "add nominal = \"...\""});
  const auto nominal = *stated;
  std::vector<std::string> unknown;
  const auto text = filled_in(symbols.fit.empty() ? symbols.general : symbols.fit, texts_, unknown);
  if (!unknown.empty())
    return at_key({"unknown_column", "there is no column \"" + unknown.front() + "\" to fill in", "",
                   did_you_mean(unknown.front(), table_.columns)});
  Expected<Limits> limits;
  if (key == "fit") {
    limits = fit_limits(text, symbols, nominal);
  } else {
    const auto kind = general_kind_named(symbols.general_kind);
    if (!kind) return at_key(kind.error());
    const bool angle = *kind == GeneralKind::angle;
    const auto wanted = angle ? Dimension::angle : Dimension::length;
    if (nominal.dimension() != wanted)
      return at_key({"wrong_unit",
                     "general_kind \"" + symbols.general_kind + "\" does not fit a feature in " +
                         std::string(unit.name()),
                     "", "lengths are \"linear\" or \"edge\", angles in deg or dms \"angle\""});
    auto size = std::optional<Quantity>(nominal);
    if (angle) {
      const auto side = formula(formulas, "shorter_side", Unit());
      if (!side) return tl::unexpected(side.error());
      size = *side;
    }
    if (!size)
      return at_key({"missing_key", "an angle needs its shorter side", "", "add shorter_side = \"40 mm\""});
    limits = general_limits(text, *kind, nominal, *size);
  }
  if (!limits) return at_key(limits.error());
  limits = limits_in(*limits, unit);
  if (!limits) return at_key(limits.error());
  return limits;
}

}  // namespace tallystick::checklist
