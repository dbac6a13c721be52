// What must hold of a simulated run, told by this model's own simple rules from what was sent and what the journal says.
#pragma once

#include "tests/simulated/house.hpp"

namespace tallystick::simulated {

/// Everything in the journal was sent by a gauge or a person, once; everything acknowledged is there.
std::vector<std::string> check_sources(House& house);
/// Each result says what its readings say, judged by the table of the scenario; what is accepted was measured on that
/// part, that feature, that place.
std::vector<std::string> check_results(House& house, const Scenario& scenario);
/// No part is measured twice, nor by two benches.
std::vector<std::string> check_parts(House& house);
/// A gauge outside on its master makes suspect exactly its results since it was last good there.
std::vector<std::string> check_suspects(House& house);
/// The lot's end of each part agrees with its results as they are now, and with the parts as they are in truth.
std::vector<std::string> check_ends(House& house, const Scenario& scenario);
/// Where parts lie on trays: each keeps its slot, no slot holds two, none lies beyond the tray, a first part lies on none,
/// and once the next tray has been read the one before has no new result.
std::vector<std::string> check_trays(House& house, const Scenario& scenario);
/// The states are those that the journal's outcomes give.
std::vector<std::string> check_states(House& house);

/// What the active walk of a bench took last, by the journal; empty: none, or set aside since.
std::string last_taken(House& house, const std::string& bench);

}  // namespace tallystick::simulated
