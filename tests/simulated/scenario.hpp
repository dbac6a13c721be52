// What a simulated shop is like before anything of ours runs: its parts as they really are, its people and its faults.
// Nothing here knows the rules of the walk: the only header of that room is the desk's door.
#pragma once

#include <cstdint>
#include <map>
#include <random>
#include <string>
#include <vector>

namespace tallystick::simulated {

/// Exact values in millionths of a millimetre: this model's own arithmetic.
using Millionths = std::int64_t;
Millionths millionths(const std::string& decimal);
std::string decimal(Millionths value);

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : random_(seed) {}
  /// 0 .. count - 1
  std::size_t pick(std::size_t count) { return static_cast<std::size_t>(random_() % count); }
  bool chance(double share) { return static_cast<double>(random_() % 1'000'000) < share * 1e6; }
  std::int64_t between(std::int64_t least, std::int64_t most) {
    return least + static_cast<std::int64_t>(random_() % static_cast<std::uint64_t>(most - least + 1));
  }

 private:
  std::mt19937_64 random_;
};

/// A feature as the print of this invented family has it.
struct Print {
  std::string key, kind, gauge_kind;   ///< kind: "reading" "capture" "go_no_go" "look"
  Millionths lower = 0, upper = 0, plausible_lower = 0, plausible_upper = 0;
  bool has_lower = true;
  int places = 1;
  bool mean = false;                   ///< the mean of its places is judged, not each
};

/// One part as it is in truth. Values by "<feature>/<place>"; looks and plugs by 0 (bad) and 1 (good).
struct TruePart {
  std::map<std::string, Millionths> values;
};

struct Faults {
  double dirt = 0.06, doubled = 0.05, wrong_gauge = 0.03, other_feature = 0.03, zero = 0.02, inches = 0.02, other_size = 0.02, late = 0.05,
         together = 0.03, partial = 0.03, silence = 0.02, display_gone = 0.01, restart = 0.012, clock_step = 0.01, set_aside = 0.01,
         park = 0.01, retake = 0.03, pass_over = 0.01, typed = 0.01, run_change = 0.005, person = 0.004, withdraw = 0.002, give_up = 0.002,
         master_bad = 0.12, stale_command = 0.02, repeated_command = 0.03;
};

struct Scenario {
  std::uint64_t seed = 0;
  int benches = 1;
  std::int64_t parts = 5;
  std::string stage = "final";
  std::string after_reject = "go_on", next_part = "by_itself";
  int tray = 0;                        ///< slots; 0: part by part
  bool height_is_asked = false;
  double commits_a_turn = 2;           ///< slow disks commit less than one
  std::vector<Print> prints;
  std::map<std::int64_t, TruePart> truth;
  Faults faults;
};

Scenario make_scenario(std::uint64_t seed);
/// Eight benches on one lot, few faults of other kinds.
Scenario make_crowd(std::uint64_t seed);

/// Naive judgement by this table alone.
bool inside(const Print& print, Millionths value);
const Print& print_of(const Scenario& scenario, const std::string& feature);

}  // namespace tallystick::simulated
