// A gauge that was found or learned comes into the configuration: its lines are put behind what stands there,
// which stays byte for byte; a learned dialect becomes a file of its own. Checked whole before anything is
// replaced.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "daemon/checklist/fault.hpp"
#include "daemon/measure/error.hpp"

namespace tallystick {

/// What a person filled in. All texts as a configuration has them; `channel` may be empty.
struct NewGauge {
  std::string id, name, kind, bench, channel, unit, range_lower, range_upper, resolution;
  std::string reads = "size", speaks = "pushed";
};

struct GaugeAddition {
  NewGauge gauge;
  std::string path;          ///< of the line; the port gets the gauge's id
  std::string dialect;       ///< its name
  std::string dialect_text;  ///< of a learned one; empty: the configuration has it already
};

struct AddedGauge {
  std::string lines;         ///< what is put behind the configuration
  std::string file;          ///< the tallystick.toml
  std::string dialect_file;  ///< of a learned dialect; empty where there is none
  std::vector<checklist::Fault> faults;
};

/// The lines: a port and its gauge. Pure.
std::string addition_text(const GaugeAddition& addition);

/// Reads and checks everything; with `write` the files are written too, each whole or not at all: the new
/// dialect first (nothing names it yet), then the configuration. Where that fails the dialect's file goes
/// again. Blocking. `out` is filled as far as it came. Errors: "configuration_faults" (with `faults`),
/// "dialect_exists", "changed_meanwhile", "cannot_read", "cannot_write".
Done add_gauge(const std::filesystem::path& configuration, const GaugeAddition& addition, bool write,
               AddedGauge& out);

}  // namespace tallystick
