// An edition made ready for walking: its steps, limits and plausible ranges parsed once.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "daemon/measure/derive.hpp"
#include "daemon/measure/judging.hpp"
#include "daemon/walk/state.hpp"
#include "drivers/decode/capture.hpp"

namespace tallystick::walk {

/// An input of a derived feature: readings by step, or what the print gives.
struct PreparedInput {
  std::vector<std::size_t> steps;   ///< indices into PreparedEdition::steps, in order; empty: `given` has it
  bool sweep = false;
  derive::Input given;              ///< its name in any case
};

struct PreparedFeature {
  bool measured = false;            ///< has readings of its own
  Unit unit;
  Limits limits;                    ///< the print's
  std::optional<Limits> before_finish;
  JudgingRule rule;
  bool unjudged = false;
  Quantity plausible_lower, plausible_upper;
  Reduction reduction = Reduction::each;
  std::optional<CaptureRule> capture;   ///< of captures but "now"
  std::int64_t least_us = 0;            ///< of a capture: *good* ends it no sooner
  std::vector<std::size_t> steps;   ///< indices into PreparedEdition::steps
  double turns = 0;                 ///< of a sweep
  std::vector<PreparedInput> inputs;   ///< of a derived feature
  std::vector<std::size_t> feeds;      ///< derived features (indices) that draw on it

  /// Those in force in a stage: before a finish until it is done.
  const Limits& limits_in(const std::string& stage) const;
  /// What the edition says of a value in a stage; of what is not judged always accept. Error "wrong_unit".
  Expected<Judgement> judge_in(const std::string& stage, Quantity value) const;
};

struct PreparedEdition {
  std::string sha;
  checklist::Edition edition;
  std::vector<Step> steps;          ///< in checklist order
  std::vector<PreparedFeature> features;
};

/// "print" or "before_finish": which limits a stage is judged against.
std::string limits_of_stage(const checklist::Feature& feature, const std::string& stage);
/// Those limits as the edition writes them.
struct LimitTexts {
  std::string lower, upper;
};
LimitTexts limit_texts(const checklist::Feature& feature, const std::string& stage);
/// Asked of a part of this stage.
bool asked_in(const checklist::Feature& feature, const std::string& stage);

/// Errors: those of limits_of, "wrong_unit", "unknown_reduction", "unknown_capture_kind".
Expected<std::shared_ptr<const PreparedEdition>> prepare(checklist::Edition edition, std::string sha);

/// The daemon's parsed editions, by SHA-256.
using Catalogue = std::map<std::string, std::shared_ptr<const PreparedEdition>>;

}  // namespace tallystick::walk
