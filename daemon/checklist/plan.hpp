// In which order to measure: as few changes of gauge as the needs allow, what tells sizes apart first.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/checklist/edition.hpp"

namespace tallystick::checklist {

/// What the planner has to know of a feature. `gauge` empty: no gauge is needed (a look), so none is changed
/// for it.
struct PlanItem {
  std::string gauge;
  bool first = false;               ///< tells sizes apart: it, and what must come before it, is planned first
  std::vector<std::size_t> before;  ///< indices of items that must come later than this one
};

struct PlanStep {
  std::size_t part = 0, item = 0;
  bool operator==(const PlanStep&) const = default;
};

/// Gauge changes + part_weight x part changes. Taking up the first gauge or part is no change.
double plan_cost(const std::vector<PlanItem>& items, const std::vector<PlanStep>& steps, double part_weight);

/// Part after part, each in checklist order as far as the needs allow (always: first the items marked
/// `first`).
std::vector<PlanStep> checklist_order(const std::vector<PlanItem>& items, std::size_t parts);

/// An order that obeys every need and never costs more than `checklist_order`; up to twelve steps (parts x items) none
/// is cheaper. Deterministic. Needs that form
/// a ring cannot be obeyed: the items of the ring then come in checklist order.
std::vector<PlanStep> plan(const std::vector<PlanItem>& items, std::size_t parts, double part_weight);

/// True where every part has every item once and no need is broken.
bool obeys_needs(const std::vector<PlanItem>& items, std::size_t parts, const std::vector<PlanStep>& steps);

/// Names the gauge that will serve a feature ("" where it needs none, or none serves it).
using GaugeOfFeature = std::function<std::string(const Feature&)>;

/// The plan of one part: indices into `edition.features` of those that the stage asks for.
std::vector<std::size_t> plan_order(const Edition& edition, std::string_view stage,
                                    const GaugeOfFeature& gauge_of);

}  // namespace tallystick::checklist
