// What a family's file says of derived features, of uncertainty and of a finish to come. Inside this room only.
#pragma once

#include "daemon/checklist/family_source.hpp"

namespace tallystick::checklist {

/// computation, formula, from, given, words. Precondition: kind "derived".
void read_derived(TomlTable& table, FeatureSource& feature);
/// decision, coverage_factor, [[feature.budget]], surfaces. Their formulas are read with the others.
void read_judging(TomlTable& table, FeatureSource& feature);
/// What derived features draw on exists, has such places, and is read before them; each stage that asks for one asks for
/// all that it draws on.
void check_derived_names(const TomlText& text, FamilySource& family);

/// "key" or "key / place", blanks around the stroke.
struct ReadingsNamed {
  std::string feature, place;
};
ReadingsNamed readings_named(const std::string& text);

}  // namespace tallystick::checklist
