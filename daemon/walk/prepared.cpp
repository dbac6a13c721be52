#include "daemon/walk/prepared.hpp"

namespace tallystick::walk {

namespace {

void add_step(PreparedEdition& prepared, std::size_t feature, std::size_t place, checklist::StepKind kind) {
  prepared.features[feature].steps.push_back(prepared.steps.size());
  prepared.steps.push_back({feature, place, kind});
}

/// How its stream is captured; of "now" nothing.
Done prepare_capture(const checklist::Feature& feature, PreparedFeature& out) {
  if (feature.kind != "capture" || feature.capture.empty() || feature.capture == "now") return {};
  CaptureRule rule;
  const std::string value = feature.capture == "settled" ? "last" : feature.capture != "sweep" ? feature.capture : feature.capture_value;
  if (!boost::describe::enum_from_string(feature.capture.c_str(), rule.kind) || !boost::describe::enum_from_string(value.c_str(), rule.value))
    return fail("unknown_capture_kind", "no capture \"" + feature.capture + "\" with the value \"" + value + "\" is known", "",
                "the edition is a later release's: measure it with that");
  for (const auto& [text, into] : {std::pair<const std::string&, bool>{feature.movement, true}, {feature.window, false}}) {
    if (text.empty()) continue;
    const auto quantity = Quantity::parse(text, out.unit);
    if (!quantity) return tl::unexpected(quantity.error());
    if (into) rule.movement = *quantity;
    else rule.window = *quantity;
  }
  rule.settle_us = std::int64_t{1000} * feature.settle_ms;
  rule.end_after_us = std::int64_t{1000} * feature.end_after_ms;
  rule.longest_gap_us = std::int64_t{1000} * feature.longest_gap_ms;
  out.least_us = std::int64_t{1000} * feature.least_ms;
  out.capture = rule;
  return {};
}

Done prepare_measured(const checklist::Feature& feature, PreparedFeature& out) {
  auto unit = Unit::named(feature.unit);
  if (!unit) return tl::unexpected(unit.error());
  auto limits = checklist::limits_of(feature);
  if (!limits) return tl::unexpected(limits.error());
  auto lower = Quantity::parse(feature.plausible_lower, *unit);
  if (!lower) return tl::unexpected(lower.error());
  auto upper = Quantity::parse(feature.plausible_upper, *unit);
  if (!upper) return tl::unexpected(upper.error());
  auto reduction = reduction_named(feature.reduction);
  if (!reduction) return tl::unexpected(reduction.error());
  out.measured = true;
  out.unit = *unit;
  out.limits = *limits;
  out.plausible_lower = *lower;
  out.plausible_upper = *upper;
  out.reduction = *reduction;
  return prepare_capture(feature, out);
}

}  // namespace

Expected<std::shared_ptr<const PreparedEdition>> prepare(checklist::Edition edition, std::string sha) {
  auto prepared = std::make_shared<PreparedEdition>();
  prepared->sha = std::move(sha);
  prepared->edition = std::move(edition);
  prepared->features.resize(prepared->edition.features.size());
  for (std::size_t f = 0; f < prepared->edition.features.size(); ++f) {
    const auto& feature = prepared->edition.features[f];
    using checklist::StepKind;
    if (feature.kind == "reading" || feature.kind == "capture") {
      if (auto done = prepare_measured(feature, prepared->features[f]); !done) {
        auto error = done.error();
        error.where = prepared->edition.size + "/" + feature.key + (error.where.empty() ? "" : ": " + error.where);
        return tl::unexpected(error);
      }
      const auto kind = feature.kind == "capture" ? StepKind::capture : StepKind::reading;
      const std::size_t places = std::max<std::size_t>(1, feature.places.size());
      for (std::size_t place = 0; place < places; ++place) add_step(*prepared, f, place, kind);
    } else if (feature.kind == "go_no_go") {
      add_step(*prepared, f, 0, StepKind::go);
      add_step(*prepared, f, 1, StepKind::no_go);
    } else if (feature.kind == "mating_check") {
      add_step(*prepared, f, 0, StepKind::mating_check);
    } else if (feature.kind == "look") {
      add_step(*prepared, f, 0, StepKind::look);
    } else {
      return fail("unknown_kind", "feature kind \"" + feature.kind + "\"", prepared->edition.size + "/" + feature.key,
                  "one of reading, capture, go_no_go, mating_check, look");
    }
  }
  return std::shared_ptr<const PreparedEdition>(std::move(prepared));
}

}  // namespace tallystick::walk
