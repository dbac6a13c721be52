// The checklists page's routes: what the configuration works out now, what changed between two editions, and
// a dry run. None of them writes anything.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "daemon/checklist/edition.hpp"
#include "daemon/serve/http.hpp"
#include "daemon/shop/gauge_card.hpp"
#include "daemon/walk/desk_door.hpp"

namespace tallystick::serve {

/// All of it outlives the routes. I/O thread.
struct ChecklistSeams {
  walk::DeskDoor& desk;
  std::function<std::vector<checklist::Edition>()>
      worked_out;  ///< of the configuration that is taken; number 0
  std::function<std::vector<shop::GaugeCard>()> gauges;
};

/// An edition is named by its SHA-256, or, as it is worked out now, by "family/size/print revision".
///
/// GET /api/v1/checklists/worked-out, GET /api/v1/checklists/compare?before=&after=, POST
/// /api/v1/checklists/dry-run {edition, stage, bench, values: [{feature, place?, unit?, values}]}. Errors:
/// "unknown_edition", "wrong_parameter", those of walk::dry_run.
std::vector<Route> checklist_routes(ChecklistSeams seams);

}  // namespace tallystick::serve
