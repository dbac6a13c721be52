// Results that no gauge shows: made when the last reading that they draw on counts, and made again when one is retaken.
#include <algorithm>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/draft.hpp"
#include "daemon/walk/working.hpp"

namespace tallystick::walk {
namespace {

/// A sweep whose value was typed.
derive::SweepFigures no_samples() {
  derive::SweepFigures out;
  out.error = "no_samples";
  out.why = "its value was typed: there are no samples to work it out from";
  return out;
}

/// Readings of the part behind one derived feature; nothing while one of them is still to come.
std::optional<std::pair<Working, ReadingsBehind>> readings_behind(const WalkDraft& walk, std::size_t index) {
  const PartState& part = walk.part();
  const auto& edition = walk.edition->edition;
  Working working;
  ReadingsBehind behind;
  for (const auto& input : walk.edition->features[index].inputs) {
    WorkedInput worked;
    worked.name = input.given.name;
    worked.word = input.given.word;
    for (const auto& value : input.given.values) {
      worked.values.push_back(value.text());
      worked.units.push_back(std::string(value.unit().name()));
    }
    for (const auto wanted : input.steps) {
      const auto at = std::find(part.asked.begin(), part.asked.end(), wanted);
      if (at == part.asked.end()) return {};
      const StepState& step = part.steps[static_cast<std::size_t>(at - part.asked.begin())];
      const Attempt* attempt = deciding(step);
      if (step.status != "done" || !attempt) return {};
      const auto& place = walk.edition->steps[wanted];
      const auto& source = edition.features[place.feature];
      worked.of.push_back(source.key + (source.places.empty() ? "" : " / " + source.places[place.place]));
      worked.readings.push_back(attempt->event.empty() ? "this" : attempt->event);
      if (input.sweep) {
        worked.sweeps.push_back(attempt->sweep.value_or(no_samples()));
      } else {
        worked.values.push_back(attempt->value);
        worked.units.push_back(attempt->unit.empty() ? source.unit : attempt->unit);
      }
      behind.add(step, *attempt);
    }
    working.inputs.push_back(std::move(worked));
  }
  return std::pair(std::move(working), std::move(behind));
}

LastDerived shown(const checklist::Feature& feature, const Fact& fact, const Working& working) {
  LastDerived out;
  out.feature = feature.key;
  out.balloon = feature.balloon;
  out.name = feature.name;
  out.value = fact.value;
  out.unit = fact.unit;
  out.nominal = fact.nominal;
  out.lower = fact.lower;
  out.upper = fact.upper;
  out.verdict = fact.verdict;
  out.side = fact.side;
  out.by = fact.by;
  out.decimals = feature.decimals;
  out.computation = feature.derivation.computation;
  out.why = working.why;
  out.working = working.steps;
  return out;
}

void make_result(Draft& draft, WalkDraft& walk, std::size_t index, Working readings, const ReadingsBehind& behind, Last& last) {
  const auto& feature = walk.edition->edition.features[index];
  const auto& prepared = walk.edition->features[index];
  PartState& part = walk.part();
  auto worked = work_out(feature, prepared, std::move(readings));
  const std::string overruled = result_before(part, feature.key);
  {
    Fact& fact = add_result(draft, walk, index, overruled, behind);
    fact.limits_of = limits_of_stage(feature, part.stage);
    // What cannot be worked out proves nothing: neither good nor bad.
    fact.verdict = "undecided";
    fact.unit = feature.unit;
    if (worked.value) {
      const auto judgement = prepared.judge_in(part.stage, *worked.value);
      if (judgement) {
        judge_fact(fact, feature, prepared, part.stage, *worked.value, *judgement);
      } else {
        worked.working.error = judgement.error().code;
        worked.working.why = judgement.error().what;
      }
    }
    if (!worked.working.why.empty()) fact.reason = worked.working.why;
    fact.working = to_json_text(worked.working);
    part.derived[feature.key] = fact.verdict;
    last.derived.push_back(shown(feature, fact, worked.working));
  }
  keep_result(draft, walk, feature.key, behind.gauges, overruled);
  (walk.state.standing.in_previous ? walk.change.previous_derived : walk.change.derived)[feature.key] = part.derived[feature.key];
}

}  // namespace

std::string settle_derived(Draft& draft, WalkDraft& walk, std::size_t asked, Last& last) {
  std::string worst = "accept";
  const auto feeds = walk.prepared(asked).feeds;
  const std::string stage = walk.part().stage;
  for (const auto index : feeds) {
    if (!asked_in(walk.edition->edition.features[index], stage) &&
        !is_named(draft.lot(walk.state.lot).state, walk.edition->edition.features[index]))
      continue;
    auto found = readings_behind(walk, index);
    if (!found) continue;
    // Not drawn on by this very reading (another place of the same feature).
    const auto& inputs = walk.edition->features[index].inputs;
    const auto own = walk.part().asked[asked];
    if (std::none_of(inputs.begin(), inputs.end(), [&](const PreparedInput& input) {
          return std::find(input.steps.begin(), input.steps.end(), own) != input.steps.end();
        }))
      continue;
    make_result(draft, walk, index, std::move(found->first), found->second, last);
    const auto& verdict = last.derived.back().verdict;
    if (verdict == "reject" || (verdict == "undecided" && worst == "accept")) worst = verdict;
  }
  if (!last.derived.empty()) follow_held(walk);
  return worst;
}

}  // namespace tallystick::walk
