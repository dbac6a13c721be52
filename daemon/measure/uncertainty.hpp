// Measurement uncertainty by the GUM (JCGM 100:2008), and what may be decided with it (JCGM 106:2012, ISO
// 14253-1).
#pragma once

#include <limits>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/limits.hpp"

namespace tallystick {

/// How the amount of a contribution is stated.
enum class Distribution : std::uint8_t {
  standard,     ///< a standard uncertainty
  normal_k2,    ///< an expanded one, coverage factor 2 (most certificates)
  rectangular,  ///< half of a width all of whose values are as likely (a resolution's half step): / sqrt 3
                ///< (JCGM 100, 4.3.7)
  triangular,   ///< half of a width, likeliest in its middle: / sqrt 6 (4.3.9)
  arcsine,      ///< half of a width, likeliest at its ends (a temperature that swings): / sqrt 2
};
std::string_view name(Distribution distribution);
/// Error "unknown_word".
Expected<Distribution> distribution_named(std::string_view name);

struct Contribution {
  std::string name;
  double amount = 0;  ///< in the result's unit times 1 / sensitivity
  Distribution distribution = Distribution::standard;
  double sensitivity = 1;
  double freedom = std::numeric_limits<double>::infinity();  ///< degrees of freedom
};

struct Budget {
  struct Line {
    std::string name;
    double standard_uncertainty = 0;  ///< with its sensitivity
    double share = 0;                 ///< of the variance, 0 to 1
    double freedom = 0;
  };
  std::vector<Line> lines;
  double combined = 0;
  double freedom = 0;  ///< effective, Welch and Satterthwaite (JCGM 100, G.2b); infinity where all are
  double coverage_factor = 0;  ///< Student's t for the probability, at the freedom rounded down (G.6.4)
  double expanded = 0;
};

/// Contributions that do not depend on each other. `probability` between 0 and 1. Errors: "no_readings" (no
/// contribution), "not_a_number", "out_of_range" (a negative amount, a freedom under 1, a probability
/// outside; with the contribution's name).
Expected<Budget> budget(std::span<const Contribution> contributions, double probability = 0.9545);

/// `simple`: the limits as they are (guard band 0). `stringent`: what lies within the guard band of a limit
/// is undecided; accepted is what proves conformity, rejected what proves the contrary (ISO 14253-1; terms of
/// ASME B89.7.3.1-2001).
enum class DecisionRule : std::uint8_t { simple, stringent };
std::string_view name(DecisionRule rule);
Expected<DecisionRule> decision_rule_named(std::string_view name);

struct Decision {
  Verdict verdict = Verdict::reject;
  Limits acceptance;       ///< the limits less the guard band; of `simple` the limits themselves
  double conformance = 0;  ///< probability that the true value lies within the limits (JCGM 106, 7.2), normal
  double risk = 0;   ///< of this result: the consumer's where it is accepted, the producer's where rejected
  double ratio = 0;  ///< tolerance over expanded uncertainty; 0 where one-sided
};

/// Exact at the guarded limits. `standard_uncertainty` in the unit of the counts' millimetres (lengths only),
/// `guard` the guard band (0 for simple). Errors: "wrong_unit", "out_of_range" (guard below 0, uncertainty
/// below 0), "guard_too_wide" (nothing is left to accept), "overflow".
Expected<Decision> decide_with_uncertainty(const Limits& limits, Quantity value,
                                           double standard_uncertainty_mm, double coverage_factor,
                                           DecisionRule rule, Quantity guard);

}  // namespace tallystick
