// Sizes that can be taken for one another.
#include <algorithm>
#include <optional>

#include "daemon/checklist/family.hpp"

namespace tallystick::checklist {
namespace {

const Feature* feature_of(const Edition& edition, const std::string& key) {
  const auto found = std::find_if(edition.features.begin(), edition.features.end(),
                                  [&](const Feature& feature) { return feature.key == key; });
  return found == edition.features.end() ? nullptr : &*found;
}

bool measured(const Feature& feature) { return !feature.unit.empty() && !feature.unjudged; }

/// No value is inside the limits of both. Nothing where they cannot be compared.
std::optional<bool> apart(const Feature& a, const Feature& b) {
  const auto left = limits_of(a), right = limits_of(b);
  if (!left || !right) return {};
  const auto some = [](const Limits& limits) { return limits.lower ? *limits.lower : *limits.upper; };
  if (!convertible(some(*left).unit(), some(*right).unit())) return {};
  return (left->upper && right->lower && *left->upper < *right->lower) ||
         (right->upper && left->lower && *right->upper < *left->lower);
}

struct Likeness {
  int shared = 0, overlapping = 0;
  bool told_apart_early = false;
  std::string could_tell;  // the first feature that lies apart, marked or not
};

Likeness compare_limits(const Edition& a, const Edition& b) {
  Likeness out;
  for (const auto& feature : a.features) {
    const auto* other = measured(feature) ? feature_of(b, feature.key) : nullptr;
    if (other == nullptr) continue;
    const auto lies_apart = apart(feature, *other);
    if (!lies_apart) continue;
    ++out.shared;
    if (!*lies_apart) {
      ++out.overlapping;
      continue;
    }
    if (out.could_tell.empty()) out.could_tell = feature.key;
    out.told_apart_early = out.told_apart_early || feature.tells_sizes_apart;
  }
  return out;
}

}  // namespace

std::vector<Fault> alike_sizes(const Family& family) {
  std::vector<Fault> out;
  for (std::size_t i = 0; i < family.sizes.size(); ++i)
    for (std::size_t j = i + 1; j < family.sizes.size(); ++j) {
      const auto& a = family.sizes[i].edition;
      const auto& b = family.sizes[j].edition;
      if (a.size == b.size) continue;  // two revisions of one size
      const auto likeness = compare_limits(a, b);
      // Alike: a part of the one passes at least half of the other's features.
      if (likeness.shared == 0 || likeness.told_apart_early || 2 * likeness.overlapping < likeness.shared)
        continue;
      out.push_back({Severity::warning, family.table_file, family.sizes[j].row_line, "size " + b.size,
                     "alike_sizes",
                     "sizes " + a.size + " and " + b.size + " share " + std::to_string(likeness.overlapping) +
                         " of " + std::to_string(likeness.shared) +
                         " measured features, and none that is asked first tells them apart",
                     likeness.could_tell.empty()
                         ? "no measured feature tells them apart: let the checklist ask for the marking first"
                         : "mark a feature that does: tells_sizes_apart = true, for instance at \"" +
                               likeness.could_tell + "\""});
    }
  return out;
}

}  // namespace tallystick::checklist
