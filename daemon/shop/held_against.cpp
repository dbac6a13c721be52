#include "daemon/shop/held_against.hpp"

#include <algorithm>
#include <tuple>

namespace tallystick::shop {
namespace {

using checklist::Fault;
using checklist::Feature;
using checklist::Severity;
using checklist::WorkedSize;

/// One finding at one size; gathered over the sizes before it is told.
struct Finding {
  Severity severity;
  std::string code, what, remedy;
  const WorkedSize* size;
};
/// By feature, gauge ("" where it is about none) and code.
using Findings = std::map<std::tuple<std::size_t, std::string, std::string>, std::vector<Finding>>;

std::string reason_text(const std::string& code, const GaugeCard& gauge, const Feature& feature) {
  const auto range = gauge.range_lower + " to " + gauge.range_upper + " " + gauge.unit;
  if (code == "out_of_range") return "range " + range;
  if (code == "wrong_unit") return "it measures in " + gauge.unit + ", not in " + feature.unit;
  if (code == "too_coarse") return "step " + gauge.resolution + " " + gauge.unit;
  if (code == "wrong_kind") return feature.kind == "capture" ? "it does not stream" : "it streams";
  return code;
}

/// A number that the gauge sends in the other unit of length (inch for millimetre, millimetre for inch),
/// taken at its word, would be inside the limits although the part's own value is plausible.
bool other_unit_deceives(const Feature& feature) {
  const auto limits = checklist::limits_of(feature);
  const auto unit = Unit::named(feature.unit);
  if (!limits || !unit || unit->dimension() != Dimension::length) return false;
  const auto least = Quantity::parse(feature.plausible_lower, *unit);
  const auto greatest = Quantity::parse(feature.plausible_upper, *unit);
  if (!least || !greatest) return true;
  // Doubles: this asks for a factor of 25.4, no verdict hangs on its last digit.
  const auto count = [](const Quantity& quantity) { return static_cast<double>(quantity.count()); };
  const double lower = count(limits->lower.value_or(*least)),
               upper = count(limits->upper.value_or(*greatest));
  for (const double factor : {25.4, 1 / 25.4})
    if (lower * factor <= count(*greatest) && upper * factor >= count(*least)) return true;
  return false;
}

/// What to do where a gauge switched to the other unit would go unnoticed; "" where it would not.
std::string unit_unseen(const GaugeCard& card, const Feature& feature, const UnitInFrame& unit_in_frame) {
  const auto dialect = unit_in_frame.find(card.dialect);
  if (card.unit_fixed || (dialect != unit_in_frame.end() && dialect->second)) return {};
  // A difference to its master is near zero in either unit, and so is the master's own.
  if (card.reads == "difference")
    return "use a dialect that sends the unit, or, where nothing switches the gauge's unit, write unit_fixed "
           "= true";
  // A master of a size shows the other unit at once.
  if (!card.setting.master.empty() || !other_unit_deceives(feature)) return {};
  return "use a dialect that sends the unit, or give the gauge a [gauge.setting] on a master, or, where "
         "nothing "
         "switches its unit, write unit_fixed = true, or state a narrower plausible range";
}

void hold_feature(const Feature& feature, const WorkedSize& size, const std::vector<GaugeCard>& gauges,
                  const UnitInFrame& unit_in_frame, std::size_t index, Findings& findings) {
  const auto find = [&](Severity severity, const std::string& gauge, std::string code, std::string what,
                        std::string remedy) {
    findings[{index, gauge, code}].push_back({severity, code, std::move(what), std::move(remedy), &size});
  };
  bool kind_known = false, served = false, only_too_coarse = true;
  std::string reasons;
  for (const auto& card : gauges) {
    if (card.kind != feature.gauge_kind) continue;
    kind_known = true;
    auto fit = card;
    fit.may_be_used = true;
    const auto why = why_not_served(fit, feature, size.edition.gauge_step_share, fit.bench);
    if (!why.empty()) {
      reasons += (reasons.empty() ? "" : "; ") + card.id + ": " + reason_text(why, card, feature);
      only_too_coarse = only_too_coarse && (why == "too_coarse" || why == "out_of_range");
      continue;
    }
    served = true;
    if (!why_not_served(fit, feature, 10, fit.bench).empty())
      find(Severity::warning, card.id, "coarse_gauge",
           "the step of " + card.id + ", " + card.resolution + " " + card.unit +
               ", is more than a tenth of the tolerance",
           "a finer gauge would take less of the tolerance for itself");
    if (const auto remedy = unit_unseen(card, feature, unit_in_frame); !remedy.empty())
      find(Severity::fault, card.id, "unit_unseen",
           card.id + " sends no unit; switched to the other one its values would pass here unseen", remedy);
  }
  if (served) return;
  if (!kind_known) {
    std::vector<std::string> kinds;
    for (const auto& card : gauges)
      if (std::find(kinds.begin(), kinds.end(), card.kind) == kinds.end()) kinds.push_back(card.kind);
    find(Severity::fault, "", "no_gauge_of_kind",
         "no registered gauge is of the kind \"" + feature.gauge_kind + "\"",
         checklist::did_you_mean(feature.gauge_kind, kinds));
    return;
  }
  const bool coarse = only_too_coarse && reasons.find(": step ") != std::string::npos;
  find(Severity::fault, "", coarse ? "gauge_too_coarse" : "no_gauge_serves",
       coarse ? "no gauge's step is at most a " +
                    std::string(size.edition.gauge_step_share == 5
                                    ? "fifth"
                                    : "1/" + std::to_string(size.edition.gauge_step_share)) +
                    " of the tolerance (" + reasons + ")"
              : "no gauge serves it (" + reasons + ")",
       coarse ? "register a finer gauge" : "register one that does, or mend its card");
}

/// 4 to 1: how many times a feature's tolerance should hold its expanded uncertainty (common practice, no source; ASME
/// B89.7.3.1 speaks of the ratio, ISO 14253-1 of the uncertainty itself).
void hold_uncertainty(const Feature& feature, const WorkedSize& size, std::size_t index, Findings& findings) {
  const auto unit = Unit::named(feature.unit);
  if (!unit || feature.certainty.uncertainty.empty() || feature.lower.empty() || feature.upper.empty()) return;
  const auto expanded = Quantity::parse(feature.certainty.uncertainty, difference_unit(*unit));
  const auto lower = Quantity::parse(feature.lower, *unit), upper = Quantity::parse(feature.upper, *unit);
  if (!expanded || !lower || !upper || upper->count() - lower->count() >= 4 * expanded->count()) return;
  findings[{index, "uncertainty", "low_ratio"}].push_back(
      {Severity::warning, "low_ratio", "the tolerance is less than four times the expanded uncertainty of " + feature.certainty.uncertainty,
       "measure with less uncertainty, or decide by decision = \"stringent\"", &size});
}

void hold_tool(const Feature& feature, const WorkedSize& size, const std::vector<std::string>& tool_kinds,
               std::size_t index, Findings& findings) {
  if (feature.tool.empty() ||
      std::find(tool_kinds.begin(), tool_kinds.end(), feature.tool) != tool_kinds.end())
    return;
  findings[{index, "tool", "no_tool_of_kind"}].push_back(
      {Severity::fault, "no_tool_of_kind", "no registered [[tool]] is of the kind \"" + feature.tool + "\"",
       checklist::did_you_mean(feature.tool, tool_kinds), &size});
}

}  // namespace

std::vector<Fault> hold_against(const checklist::Family& family, const std::vector<GaugeCard>& gauges,
                                const UnitInFrame& unit_in_frame,
                                const std::vector<std::string>* tool_kinds) {
  Findings findings;  // the feature is named by its line in the family's file
  std::map<std::size_t, std::size_t> sizes_with;
  std::map<std::size_t, std::string> key_at;
  for (const auto& size : family.sizes) {
    std::map<std::size_t, bool> here;
    for (std::size_t i = 0; i < size.edition.features.size(); ++i) {
      const auto& feature = size.edition.features[i];
      const auto line = static_cast<std::size_t>(size.feature_lines[i]);
      if (here[line]) continue;  // places under one balloon are alike
      here[line] = true;
      ++sizes_with[line];
      key_at.emplace(line, feature.key);
      if (!feature.unit.empty() && feature.kind != "derived") hold_feature(feature, size, gauges, unit_in_frame, line, findings);
      hold_uncertainty(feature, size, line, findings);
      if (tool_kinds != nullptr) hold_tool(feature, size, *tool_kinds, line, findings);
    }
  }
  std::vector<Fault> out;
  for (const auto& [name, group] : findings) {
    const auto line = std::get<0>(name);
    const auto place = "feature " + key_at[line];
    const auto& first = group.front();
    if (group.size() == sizes_with[line]) {
      out.push_back(
          {first.severity, family.file, static_cast<int>(line), place, first.code, first.what, first.remedy});
      continue;
    }
    for (const auto& finding : group)
      out.push_back({finding.severity, family.table_file, finding.size->row_line, place, finding.code,
                     finding.what + ", at size " + finding.size->edition.size, finding.remedy});
  }
  checklist::sort_by_place(out);
  return out;
}

}  // namespace tallystick::shop
