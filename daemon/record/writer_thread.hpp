// The writer's thread: takes what queued, commits it as one group, and says what became of it.
#pragma once

#include <memory>

#include "daemon/record/chain.hpp"
#include "daemon/record/journal.hpp"

namespace tallystick::record {

/// Starts the thread behind `tail`, the newest entry of the journal at `place`, whose lock the caller holds.
std::unique_ptr<Writer> start_writer(const Place& place, const Tail& tail, Writer::Hooks hooks, Pace pace);

}  // namespace tallystick::record
