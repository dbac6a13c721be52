#include "daemon/shop/gauge_card.hpp"

#include <algorithm>
#include <optional>

namespace tallystick::shop {
namespace {

__extension__ using Wide = __int128;

using MaybeQuantity = std::optional<Quantity>;

/// Empty text, or text that the unit does not hold: nothing. A checked configuration has no such text.
MaybeQuantity value(const std::string& text, Unit unit) {
  if (text.empty()) return {};
  const auto quantity = Quantity::parse(text, unit);
  if (!quantity) return {};
  return *quantity;
}

bool within(const MaybeQuantity& lower, const MaybeQuantity& upper, const MaybeQuantity& value) {
  return !value || ((!lower || *lower <= *value) && (!upper || *value <= *upper));
}

/// Every value in `from` has finitely many decimals in `to`.
bool exact_in(Unit from, Unit to) { return convertible(from, to) && from.step() % to.step() == 0; }

bool speaks_exactly(const GaugeCard& card, Unit card_unit, Unit unit) {
  // A difference is added to its master, so the master's size has to be exact there too.
  if (card.reads == "difference") {
    const auto master = value(card.setting.size, card_unit);
    if (!master || !master->text(unit)) return false;
  }
  if (exact_in(card_unit, unit)) return true;
  return std::any_of(card.also_units.begin(), card.also_units.end(), [&](const std::string& name) {
    const auto other = Unit::named(name);
    return other && exact_in(*other, unit);
  });
}

/// What the gauge has to split finely enough: the tolerance, or for a one-sided feature the limit's distance
/// to the plausible end. In base counts; nothing where the feature states neither.
std::optional<Wide> room_to_resolve(const Limits& limits, const checklist::Feature& feature, Unit unit) {
  const auto lower = limits.lower ? limits.lower : value(feature.plausible_lower, unit);
  const auto upper = limits.upper ? limits.upper : value(feature.plausible_upper, unit);
  if (!lower || !upper) return {};
  return Wide{upper->count()} - Wide{lower->count()};
}

bool in_range(const GaugeCard& card, Unit unit, const Limits& limits) {
  const auto lower = value(card.range_lower, unit);
  const auto upper = value(card.range_upper, unit);
  if (!within(lower, upper, limits.lower) || !within(lower, upper, limits.upper) ||
      !within(lower, upper, limits.nominal))
    return false;
  // A gauge that reads differences is worth its master: without a master's size there is no size at all.
  if (card.reads != "difference") return true;
  const auto master = value(card.setting.size, unit);
  return master && within(lower, upper, master);
}

}  // namespace

std::string why_not_served(const GaugeCard& card, const checklist::Feature& feature, int gauge_step_share,
                           std::string_view bench) {
  if (feature.gauge_kind.empty() || card.kind != feature.gauge_kind) return "wrong_kind";
  // Only a stream can be captured, and samples of a stream are never readings.
  if ((feature.kind == "capture") != (card.speaks == "streams")) return "wrong_kind";
  const auto card_unit = Unit::named(card.unit);
  const auto unit = Unit::named(feature.unit);
  if (!card_unit || !unit || !speaks_exactly(card, *card_unit, *unit)) return "wrong_unit";
  const auto limits = checklist::limits_of(feature);
  if (!limits || !in_range(card, *card_unit, *limits)) return "out_of_range";
  const auto resolution = value(card.resolution, difference_unit(*card_unit));   // a step of degC is a difference
  const auto room = room_to_resolve(*limits, feature, *unit);
  if (!resolution || !room || Wide{resolution->count()} * gauge_step_share > *room) return "too_coarse";
  if (card.bench != bench) return "other_bench";
  if (!card.may_be_used) return "may_not_be_used";
  return {};
}

}  // namespace tallystick::shop
