#include "daemon/walk/prepared.hpp"

#include <algorithm>

#include "daemon/walk/decide.hpp"

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

/// Decimals that a limit was written with: what the rounding method rounds to (ASTM E29-13, 5.1: the limit's last place).
int places_of(const std::string& limit) {
  const auto point = limit.find('.');
  return point == std::string::npos ? 0 : static_cast<int>(limit.size() - point - 1);
}

/// Unit, limits, and how they are judged by.
Done prepare_value(const checklist::Edition& edition, const checklist::Feature& feature, PreparedFeature& out) {
  auto unit = Unit::named(feature.unit);
  if (!unit) return tl::unexpected(unit.error());
  auto limits = checklist::limits_of(feature);
  if (!limits) return tl::unexpected(limits.error());
  out.unit = *unit;
  out.limits = *limits;
  out.unjudged = feature.unjudged;
  const auto method = judging_method_named(edition.judging);
  if (!method) return tl::unexpected(method.error());
  const auto decision = decision_rule_named(feature.certainty.decision);
  if (!decision) return tl::unexpected(decision.error());
  out.rule.method = *method;
  out.rule.decision = *decision;
  out.rule.unit = *unit;
  out.rule.decimals = std::max(places_of(feature.lower), places_of(feature.upper));
  if (*decision == DecisionRule::stringent) {
    const auto guard = Quantity::parse(feature.certainty.uncertainty, difference_unit(*unit));
    if (!guard) return tl::unexpected(guard.error());
    out.rule.guard = *guard;
  }
  if (feature.finish.build_up.empty()) return {};
  auto moved = feature;
  moved.lower = feature.finish.lower;
  moved.upper = feature.finish.upper;
  auto before = checklist::limits_of(moved);
  if (!before) return tl::unexpected(before.error());
  out.before_finish = *before;
  return {};
}

Done prepare_measured(const checklist::Edition& edition, const checklist::Feature& feature, PreparedFeature& out) {
  if (auto done = prepare_value(edition, feature, out); !done) return done;
  const auto unit = Expected<Unit>(out.unit);
  auto lower = Quantity::parse(feature.plausible_lower, *unit);
  if (!lower) return tl::unexpected(lower.error());
  auto upper = Quantity::parse(feature.plausible_upper, *unit);
  if (!upper) return tl::unexpected(upper.error());
  auto reduction = reduction_named(feature.reduction);
  if (!reduction) return tl::unexpected(reduction.error());
  out.measured = true;
  out.turns = feature.turns;
  out.plausible_lower = *lower;
  out.plausible_upper = *upper;
  out.reduction = *reduction;
  return prepare_capture(feature, out);
}

/// The steps of the readings that a derived feature draws on, which stand before it.
Done prepare_inputs(PreparedEdition& prepared, std::size_t index) {
  const auto& own = prepared.edition.features[index];
  for (const auto& input : own.derivation.inputs) {
    PreparedInput out;
    out.given.name = input.name;
    out.given.word = input.word;
    for (const auto& text : input.values) {
      const auto unit = Unit::named(input.unit);
      if (!unit) return tl::unexpected(unit.error());
      const auto value = Quantity::parse(text, *unit);
      if (!value) return tl::unexpected(value.error());
      out.given.values.push_back(*value);
    }
    for (const auto& of : input.readings) {
      for (std::size_t f = 0; f < index; ++f) {
        const auto& source = prepared.edition.features[f];
        if (source.key != of.feature) continue;
        out.sweep = out.sweep || source.capture == "sweep";
        for (const auto step : prepared.features[f].steps) {
          const auto place = prepared.steps[step].place;
          if (of.place.empty() || (place < source.places.size() && source.places[place] == of.place)) out.steps.push_back(step);
        }
        auto& feeds = prepared.features[f].feeds;
        if (std::find(feeds.begin(), feeds.end(), index) == feeds.end()) feeds.push_back(index);
      }
    }
    if (!input.readings.empty() && out.steps.empty())
      return fail("unknown_feature", "input \"" + input.name + "\" draws on no reading of this edition", "");
    prepared.features[index].inputs.push_back(std::move(out));
  }
  return {};
}

Done prepare_derived(PreparedEdition& prepared, std::size_t index) {
  const auto& feature = prepared.edition.features[index];
  if (const auto known = derive::computation_named(feature.derivation.computation); !known) return tl::unexpected(known.error());
  if (auto done = prepare_value(prepared.edition, feature, prepared.features[index]); !done) return done;
  return prepare_inputs(prepared, index);
}

}  // namespace

const Limits& PreparedFeature::limits_in(const std::string& stage) const {
  return before_finish && stage_group(stage) != "after_finish" ? *before_finish : limits;
}

Expected<Judgement> PreparedFeature::judge_in(const std::string& stage, Quantity value) const {
  if (!unjudged) return judge(limits_in(stage), value, rule);
  Judgement taken;
  taken.verdict = Verdict::accept;
  taken.by = Quantity::of_count(0, difference_unit(unit));
  return taken;
}

std::string limits_of_stage(const checklist::Feature& feature, const std::string& stage) {
  return !feature.finish.build_up.empty() && stage_group(stage) != "after_finish" ? "before_finish" : "print";
}

LimitTexts limit_texts(const checklist::Feature& feature, const std::string& stage) {
  if (limits_of_stage(feature, stage) == "print") return {feature.lower, feature.upper};
  return {feature.finish.lower, feature.finish.upper};
}

bool asked_in(const checklist::Feature& feature, const std::string& stage) {
  // A family's file writes first_part, the walk says first part.
  return feature.stages.empty() || std::any_of(feature.stages.begin(), feature.stages.end(), [&](std::string word) {
    std::replace(word.begin(), word.end(), '_', ' ');
    return word == stage;
  });
}

Expected<std::shared_ptr<const PreparedEdition>> prepare(checklist::Edition edition, std::string sha) {
  auto prepared = std::make_shared<PreparedEdition>();
  prepared->sha = std::move(sha);
  prepared->edition = std::move(edition);
  prepared->features.resize(prepared->edition.features.size());
  for (std::size_t f = 0; f < prepared->edition.features.size(); ++f) {
    const auto& feature = prepared->edition.features[f];
    using checklist::StepKind;
    const auto at_feature = [&](Error error) {
      error.where = prepared->edition.size + "/" + feature.key + (error.where.empty() ? "" : ": " + error.where);
      return tl::unexpected(std::move(error));
    };
    if (feature.kind == "reading" || feature.kind == "capture") {
      if (auto done = prepare_measured(prepared->edition, feature, prepared->features[f]); !done) return at_feature(done.error());
      const auto kind = feature.kind == "capture" ? StepKind::capture : StepKind::reading;
      const std::size_t places = std::max<std::size_t>(1, feature.places.size());
      for (std::size_t place = 0; place < places; ++place) add_step(*prepared, f, place, kind);
    } else if (feature.kind == "derived") {
      if (auto done = prepare_derived(*prepared, f); !done) return at_feature(done.error());
    } else if (feature.kind == "go_no_go") {
      add_step(*prepared, f, 0, StepKind::go);
      add_step(*prepared, f, 1, StepKind::no_go);
    } else if (feature.kind == "mating_check") {
      add_step(*prepared, f, 0, StepKind::mating_check);
    } else if (feature.kind == "look") {
      add_step(*prepared, f, 0, StepKind::look);
    } else {
      return fail("unknown_kind", "feature kind \"" + feature.kind + "\"", prepared->edition.size + "/" + feature.key,
                  "one of reading, capture, derived, go_no_go, mating_check, look");
    }
  }
  return std::shared_ptr<const PreparedEdition>(std::move(prepared));
}

}  // namespace tallystick::walk
