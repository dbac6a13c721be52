// How a feature of kind `capture` is taken from a stream: its keys in the family's file. Inside this room
// only.
#pragma once

#include "daemon/checklist/family_source.hpp"
#include "daemon/measure/limits.hpp"

namespace tallystick::checklist {

/// Reads the keys of a measured feature; of one that is no capture, or the plain "now", it tells those that
/// stand there all the same.
void read_capture(TomlTable& table, FeatureSource& feature);

/// What is wrong with the movement or the window that a size comes to; `code` empty: nothing.
Error capture_fault(const FeatureSource& source, const std::string& key, Quantity value,
                    const Limits& limits);

}  // namespace tallystick::checklist
