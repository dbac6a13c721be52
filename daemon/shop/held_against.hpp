// Checklists held against the register: is there a gauge for every feature, fine enough, in a unit that
// cannot deceive?
#pragma once

#include <map>
#include <string>
#include <vector>

#include "daemon/checklist/family.hpp"
#include "daemon/shop/gauge_card.hpp"

namespace tallystick::shop {

/// Whether a dialect's frames name their unit, by the dialect's name.
using UnitInFrame = std::map<std::string, bool>;

/// Faults: "no_gauge_of_kind", "no_gauge_serves" (with each gauge's reason), "gauge_too_coarse",
/// "unit_unseen" (a gauge whose frames carry no unit and whose unit is not fixed, where a value in the other
/// unit would pass: it reads differences, or it is set on no master and the feature lies near zero). Warning
/// "coarse_gauge": a step above a tenth of the tolerance. With `tool_kinds` (those of the register) also
/// "no_tool_of_kind": a plug or mating part that nobody could state. Benches and the lead's word are not
/// looked at: those change by the hour. Each is told once, where all sizes suffer at the feature, else at the
/// row.
std::vector<checklist::Fault> hold_against(const checklist::Family& family,
                                           const std::vector<GaugeCard>& gauges,
                                           const UnitInFrame& unit_in_frame,
                                           const std::vector<std::string>* tool_kinds = nullptr);

}  // namespace tallystick::shop
