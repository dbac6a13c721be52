// An edition made ready for walking: its steps, limits and plausible ranges parsed once.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "daemon/walk/state.hpp"
#include "drivers/decode/capture.hpp"

namespace tallystick::walk {

struct PreparedFeature {
  bool measured = false;
  Unit unit;
  Limits limits;
  Quantity plausible_lower, plausible_upper;
  Reduction reduction = Reduction::each;
  std::optional<CaptureRule> capture;   ///< of captures but "now"
  std::int64_t least_us = 0;            ///< of a capture: *good* ends it no sooner
  std::vector<std::size_t> steps;   ///< indices into PreparedEdition::steps
};

struct PreparedEdition {
  std::string sha;
  checklist::Edition edition;
  std::vector<Step> steps;          ///< in checklist order
  std::vector<PreparedFeature> features;
};

/// Errors: those of limits_of, "wrong_unit", "unknown_reduction", "unknown_capture_kind".
Expected<std::shared_ptr<const PreparedEdition>> prepare(checklist::Edition edition, std::string sha);

/// The daemon's parsed editions, by SHA-256.
using Catalogue = std::map<std::string, std::shared_ptr<const PreparedEdition>>;

}  // namespace tallystick::walk
