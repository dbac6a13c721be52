// A checklist tried with typed values: a whole walk through one part by the real rules, over states of its
// own that are thrown away. Nothing is journalled, no bench, lot or gauge knows of it.
#pragma once

#include <boost/describe.hpp>
#include <map>
#include <string>
#include <vector>

#include "daemon/walk/decide.hpp"

namespace tallystick::walk {

/// What is given for a step: values one after the other (the last again, where more are asked for), or "good"
/// / "not_good" for members, checks and looks. None: the step is passed over.
struct DryGiven {
  std::string feature, place;  ///< place empty: every place of the feature
  std::string unit;            ///< empty: the print's
  std::vector<std::string> values;
  bool operator==(const DryGiven&) const = default;
};
BOOST_DESCRIBE_STRUCT(DryGiven, (), (feature, place, unit, values))

/// One thing that the walk asked for and got, in the order of the plan.
struct DryStep {
  std::string feature, balloon, name, place, kind, unit, lower, upper;
  std::vector<std::string> gauges;  ///< of the bench that would serve it
  std::string given, what, why, verdict, side, by;
  bool stands = false;
  std::string hold, fits_size;
  std::string result, result_value;  ///< of the feature, where this step completed it
  bool operator==(const DryStep&) const = default;
};
BOOST_DESCRIBE_STRUCT(DryStep, (),
                      (feature, balloon, name, place, kind, unit, lower, upper, gauges, given, what, why,
                       verdict, side, by, stands, hold, fits_size, result, result_value))

struct DryRun {
  std::string family, size, print_revision, stage, bench;
  std::vector<DryStep> steps;
  std::string end;                     ///< as PartState's: "accepted", "rejected", "incomplete"
  std::vector<std::string> not_asked;  ///< features given that this stage does not ask for
  bool operator==(const DryRun&) const = default;
};
BOOST_DESCRIBE_STRUCT(DryRun, (), (family, size, print_revision, stage, bench, steps, end, not_asked))

/// Pure. `gauges`: the register; their settings count as good. `others`: editions of the family's other
/// sizes, which tell a wrong part in the hand. Errors: those of `prepare`, "unknown_feature", "wrong_shape"
/// (a stage or a value that cannot be read: `where` names the feature).
Expected<DryRun> dry_run(const checklist::Edition& edition, const std::vector<checklist::Edition>& others,
                         const std::vector<shop::GaugeCard>& gauges, const std::string& bench,
                         const std::string& stage, const std::vector<DryGiven>& given);

}  // namespace tallystick::walk
