// What the libraries offer, measured within one process: bench_pure ROOT FOLDER PAIRS BLOCK_MS EVENTS
#pragma once

#include <filesystem>
#include <vector>

#include "daemon/walk/event.hpp"
#include "tools/bench/alternating.hpp"

namespace tallystick::bench {

/// A whole file; the process ends where it cannot be read.
std::string text_of(const std::filesystem::path& file);

/// A line a dialect of config/dialects, fed with its own recorded frames of tests/replay.
void decode_figures(const std::filesystem::path& root, const Effort& effort);
/// A sweep of 100,000 samples in all four circles; a million judgements.
void measure_figures(const Effort& effort);
/// One reading through decide and evolve, and the whole desk.
void walk_figures(const Effort& effort);
/// The proposals of so many presses at an invented bench, as the desk makes them.
std::vector<Proposal> pressed_proposals(std::size_t count);
/// Exports and the chain's check over a journal of `events` events in `folder`.
void record_figures(const std::filesystem::path& folder, std::size_t events, const Effort& effort);

}  // namespace tallystick::bench
