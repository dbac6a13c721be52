// Lengths at 20 degC, uncertainty budgets, decisions.
#include <cmath>

#include "daemon/measure/rounding.hpp"
#include "daemon/measure/temperature.hpp"
#include "daemon/measure/uncertainty.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {
namespace {

using boost::json::object;

/// A plain number of any unit: what is not judged.
double plain(InputFields& fields, std::string_view key, const std::optional<std::string>& text,
             double otherwise) {
  if (!text) return otherwise;
  return static_cast<double>(fields.quantity(key, *text, Unit()).count()) / 1e9;
}

Warm warm(InputFields& fields, const std::string& who) {
  Warm out;
  const auto celsius = who + "_degC", material = who + "_material", own = who + "_um_per_m_K";
  out.celsius = plain(fields, celsius, fields.text(celsius), 20);
  out.celsius_uncertainty = plain(fields, who + "_u_degC", fields.optional_text(who + "_u_degC"), 0);
  const auto named = fields.optional_text(material), given = fields.optional_text(own);
  if (given)
    out.per_kelvin = plain(fields, own, given, 0) * 1e-6;
  else
    out.per_kelvin = fields.taken(material, material_named(named.value_or("gauge-block / reference steel")))
                         .micrometres_per_metre_kelvin *
                     1e-6;
  out.per_kelvin_uncertainty =
      plain(fields, who + "_u_um_per_m_K", fields.optional_text(who + "_u_um_per_m_K"), 0) * 1e-6;
  return out;
}

Expected<object> temperature_worked(const object& input) {
  InputFields fields(input);
  const auto indicated = fields.number("indicated_mm");
  const auto part = warm(fields, "part"), scale = warm(fields, "scale");
  TemperatureRange range;
  range.least = plain(fields, "least_degC", fields.optional_text("least_degC"), range.least);
  range.most = plain(fields, "most_degC", fields.optional_text("most_degC"), range.most);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = at_reference(indicated, part, scale, range);
  if (!found) return tl::unexpected(found.error());
  object out;
  for (const auto& [name, amount] : {std::pair{"length_at_20_degC", found->millimetres},
                                     {"part_growth", found->part_growth},
                                     {"scale_growth", found->scale_growth},
                                     {"standard_uncertainty", found->standard_uncertainty}})
    if (auto done = put_length(out, name, amount); !done) return tl::unexpected(done.error());
  out["working"] = "indicated (1 + a scale (t scale - 20)) / (1 + a part (t part - 20))";
  out["standard"] = "ISO 1:2016";
  return out;
}

Expected<object> budget_worked(const object& input) {
  InputFields fields(input);
  const auto probability = plain(fields, "probability", fields.optional_text("probability"), 0.9545);
  std::vector<Contribution> lines;
  for (const auto& [one, place] : fields.objects("contributions")) {
    InputFields line(*one, place);
    Contribution next;
    next.name = line.text("name");
    next.amount = plain(line, "amount_um", line.text("amount_um"), 0);
    next.distribution = line.taken(
        "distribution", distribution_named(line.optional_text("distribution").value_or("standard")));
    next.sensitivity = plain(line, "sensitivity", line.optional_text("sensitivity"), 1);
    next.freedom = plain(line, "degrees_of_freedom", line.optional_text("degrees_of_freedom"), next.freedom);
    lines.push_back(next);
    fields.inner(line);
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = budget(lines, probability);
  if (!found) return tl::unexpected(found.error());
  const auto freedom = [](double amount) {
    return std::isfinite(amount) ? boost::json::value(amount) : boost::json::value(nullptr);
  };
  boost::json::array table;
  for (const auto& line : found->lines)
    table.push_back(object{{"name", line.name},
                           {"standard_uncertainty_um", line.standard_uncertainty},
                           {"share", line.share},
                           {"degrees_of_freedom", freedom(line.freedom)}});
  return object{
      {"contributions", std::move(table)},
      {"combined_um", found->combined},
      {"degrees_of_freedom", freedom(found->freedom)},
      {"coverage_factor", found->coverage_factor},
      {"probability", probability},
      {"expanded_um", found->expanded},
      {"working",
       "root of the sum of squares; Welch and Satterthwaite; Student's t at the freedom rounded down"},
      {"standard", "JCGM 100:2008"}};
}

Expected<object> decision_worked(const object& input) {
  InputFields fields(input);
  const auto value = fields.quantity("value_mm");
  const auto lower = fields.optional_quantity("lower_mm"), upper = fields.optional_quantity("upper_mm");
  const auto expanded = fields.quantity("expanded_um");
  const auto factor = plain(fields, "coverage_factor", fields.optional_text("coverage_factor"), 2);
  const auto rule =
      fields.taken("rule", decision_rule_named(fields.optional_text("rule").value_or("simple")));
  const auto guard = fields.optional_quantity("guard_um").value_or(expanded);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  if (!(factor > 0)) return fail("out_of_range", "a coverage factor is above 0", "coverage_factor");
  const auto limits = fields.taken("lower_mm, upper_mm", Limits::direct(lower, upper));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found =
      decide_with_uncertainty(limits, value, in_millimetres(expanded) / factor, factor, rule, guard);
  if (!found) return tl::unexpected(found.error());
  object out{{"verdict", name(found->verdict)}, {"rule", name(rule)}};
  if (found->acceptance.lower) out["accept_from_mm"] = written(*found->acceptance.lower, Unit()).text;
  if (found->acceptance.upper) out["accept_to_mm"] = written(*found->acceptance.upper, Unit()).text;
  out["probability_of_conformance"] = found->conformance;
  out[found->verdict == Verdict::reject ? "producers_risk" : "consumers_risk"] = found->risk;
  if (found->ratio > 0) out["tolerance_to_uncertainty"] = found->ratio;
  out["working"] = rule == DecisionRule::simple
                       ? "against the limits as they are"
                       : "against the limits less a guard band of " + written(guard, Unit()).text +
                             " mm; between, nothing is proved";
  out["standard"] = "JCGM 106:2012, ISO 14253-1";
  return out;
}

}  // namespace

const Computation temperature_computation = {
    "temperature",
    "A length brought to 20 degC, with what is not known of the temperatures (ISO 1)",
    R"({"indicated_mm": "100", "part_material": "aluminium 6061", "part_degC": "25", "part_u_degC": "0.3", "scale_degC": "22", "scale_u_degC": "0.3"})",
    temperature_worked,
    members_in_words,
    always_good};

const Computation budget_computation = {
    "budget",
    "Uncertainty of a measurement from its contributions (GUM)",
    R"({"probability": "0.9545", "contributions": [{"name": "calibration", "amount_um": "1.2", "distribution": "normal_k2"}, {"name": "resolution", "amount_um": "0.5", "distribution": "rectangular"}, {"name": "repeatability", "amount_um": "0.8", "degrees_of_freedom": "24"}]})",
    budget_worked,
    members_in_words,
    always_good};

const Computation decision_computation = {
    "decision",
    "Accept, reject or undecided, with uncertainty, and the risk of it (JCGM 106, ISO 14253-1)",
    R"({"value_mm": "25.020", "lower_mm": "25.000", "upper_mm": "25.021", "expanded_um": "2", "coverage_factor": "2", "rule": "stringent"})",
    decision_worked,
    members_in_words,
    status_of_answer};

}  // namespace tallystick::cli
