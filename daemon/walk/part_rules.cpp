// How a walk goes through a part: counting, repeating, going on, ending, beginning the next.
#include <algorithm>

#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

using checklist::StepKind;

namespace {

bool answered(StepKind kind) { return kind != StepKind::reading && kind != StepKind::capture; }

/// Values of one round over all places of a feature whose reduction is judged as a whole; empty when not complete.
std::vector<Quantity> round_values(const WalkDraft& walk, const PreparedFeature& prepared, std::size_t feature,
                                   std::size_t round) {
  std::vector<Quantity> values;
  const PartState& part = walk.part();
  for (std::size_t asked = 0; asked < part.asked.size(); ++asked) {
    if (walk.step(asked).feature != feature) continue;
    std::size_t seen = 0;
    for (const auto& attempt : part.steps[asked].attempts) {
      if (attempt.aside) continue;
      if (seen++ != round) continue;
      const auto unit = attempt.unit.empty() ? Expected<Unit>(prepared.unit) : Unit::named(attempt.unit);
      if (const auto value = Quantity::parse(attempt.value, *unit)) values.push_back(*value);
    }
    if (seen <= round) return {};
  }
  return values;
}

/// Judges the newest complete round of a feature that is judged as a whole, and opens its places for the next round
/// where the rule for rejects wants one.
void settle_round(WalkDraft& walk, std::size_t asked) {
  const std::size_t feature = walk.step(asked).feature;
  const auto& prepared = walk.prepared(asked);
  const std::size_t round = counted_attempts(walk.part().steps[asked]) - 1;
  const auto values = round_values(walk, prepared, feature, round);
  if (values.empty()) return;
  const auto reduced = reduce(prepared.reduction, values, prepared.limits_in(walk.part().stage), prepared.rule);
  const std::string verdict(name(reduced ? reduced->judgement.verdict : Verdict::reject));
  for (std::size_t other = 0; other < walk.part().asked.size(); ++other) {
    if (walk.step(other).feature != feature) continue;
    auto& step = walk.touch(other);
    for (auto attempt = step.attempts.rbegin(); attempt != step.attempts.rend(); ++attempt)
      if (!attempt->aside) {
        attempt->verdict = verdict;
        break;
      }
    step.status = settled(step, false).empty() ? "open" : "done";
  }
}

/// The nearest open step from `from` on, forward in plan order and round; nullopt: none is open.
std::optional<std::size_t> next_open(const PartState& part, std::size_t from) {
  for (std::size_t n = 0; n < part.steps.size(); ++n) {
    const std::size_t asked = (from + n) % part.steps.size();
    if (part.steps[asked].status == "open") return asked;
  }
  return {};
}

/// Each gauge that made a value of the part has one part more behind it.
void count_part_for_gauges(Draft& draft, const PartState& part) {
  std::set<std::string> used;
  for (const auto& step : part.steps)
    for (const auto& attempt : step.attempts)
      if (!attempt.gauge.empty() && !attempt.aside) used.insert(attempt.gauge);
  for (const auto& id : used)
    if (draft.states.gauges.contains(id)) ++draft.gauge(id).state.parts_since;
}

std::string end_of(const PartState& part) {
  const auto stands = [&](const char* verdict) {
    return std::any_of(part.steps.begin(), part.steps.end(), [&](const StepState& step) { return settled(step, true) == verdict; }) ||
           std::any_of(part.derived.begin(), part.derived.end(), [&](const auto& one) { return one.second == verdict; });
  };
  if (part.held) return stands("undecided") && !stands("reject") ? "undecided" : "rejected";
  for (const auto& step : part.steps)
    if (step.status != "done") return "incomplete";
  return "accepted";
}

/// What a first part's end means for the lot.
void note_first_part(LotDraft& lot, const WalkDraft& walk, const PartState& part) {
  if (part.stage != "first part") return;
  if (part.end == "accepted") {
    lot.state.need = lot.state.then_release ? "release" : "";
    lot.state.first_part_by = walk.state.person;
  } else {
    lot.state.need = "first_part";
  }
}

void end_part(Draft& draft, WalkDraft& walk) {
  PartState& part = walk.part();
  part.end = end_of(part);
  auto& lot = draft.lot(walk.state.lot);
  note_end(lot, walk, part);
  note_first_part(lot, walk, part);
  if (walk.state.standing.in_previous) {
    walk.change.previous_ended = part.end;
    walk.state.standing.in_previous = false;
    if (in_tray(walk.state)) go_to_start_of_tray(walk);
    else if (walk.state.part) walk.state.standing.pointer = next_open(*walk.state.part, 0).value_or(0);
    else begin_next_part(draft, walk, false);   // what it waited for before it waits for again
    return;
  }
  // Features named by a run change are asked of the next part that begins, and stay named until one was asked for them.
  std::erase_if(lot.state.named_features, [&](const std::string& named) {
    return std::any_of(part.asked.begin(), part.asked.end(), [&](std::size_t index) {
      return walk.edition->edition.features[walk.edition->steps[index].feature].key == named;
    }) || part.results.contains(named);
  });
  if (part.slot > 0) return end_part_on_tray(draft, walk);
  count_part_for_gauges(draft, part);
  // The steps written in this event belong to the part that ends: they are put down before it moves.
  for (const auto asked : walk.touched) walk.change.steps[std::to_string(asked)] = part.steps[asked];
  walk.touched.clear();
  walk.change.ended = part.end;
  ++walk.state.ended_parts;
  walk.state.previous = std::move(*walk.state.part);
  walk.state.part.reset();
  walk.state.standing.pointer = 0;
  begin_next_part(draft, walk, false);
}

/// After a step was settled: the next open one, or the part's end.
void go_on(Draft& draft, WalkDraft& walk, std::string& tone) {
  const auto next = next_open(walk.part(), walk.state.standing.pointer);
  if (next && in_tray(walk.state)) return go_on_on_tray(walk);
  if (next) {
    walk.state.standing.pointer = *next;
    return;
  }
  if (tone == "accept" || tone == "place") tone = "part_end";
  end_part(draft, walk);
}

void after_step(Draft& draft, WalkDraft& walk, std::size_t asked, Last last) {
  const auto& step = walk.part().steps[asked];
  const bool done = step.status == "done";
  const std::string verdict = done ? settled(step, answered(walk.step(asked).kind)) : std::string();
  bool stands = verdict == "reject" || verdict == "undecided";
  walk.state.standing.hold.reset();
  last.stands = stands;
  last.measured_again = counted_attempts(step) > 1 || step.retaken;
  const bool rejected = last.verdict == "reject" || last.verdict == "undecided";
  std::string tone = rejected ? (stands ? "stands" : "reject") : "accept";
  if (done) follow_held(walk);
  if (done) settle_feature(draft, walk, asked, last);
  // A derived result is made of readings that counted: what it comes to stands at once.
  const bool derived_stands = done && settle_derived(draft, walk, asked, last) != "accept";
  stands = stands || derived_stands;
  walk.state.standing.reject_stands = stands;
  const std::size_t feature = walk.step(asked).feature;
  if (!rejected && done && last.result_verdict.empty()) tone = "place";
  if (derived_stands) tone = "stands";
  walk.state.standing.counted = last;
  const auto& rule = walk.edition->edition.after_reject;
  if (stands && rule == "end_part") {
    end_part(draft, walk);
  } else if (stands && rule == "stop_walk") {
    Hold hold;
    hold.kind = "stopped";
    hold.hard = true;
    walk.state.standing.hold = hold;
    // On a tray the plan goes on from here when the hold is lifted.
    const auto next = next_open(walk.part(), walk.state.standing.pointer);
    if (next && !in_tray(walk.state)) walk.state.standing.pointer = *next;
  } else if (done) {
    go_on(draft, walk, tone);
  } else {
    // Once more: the same place, or the first place again of a feature that is judged as a whole.
    walk.state.standing.pointer = asked;
    if (walk.prepared(asked).reduction != Reduction::each)
      for (std::size_t other = walk.part().asked.size(); other-- > 0;)
        if (walk.step(other).feature == feature && walk.part().steps[other].status == "open")
          walk.state.standing.pointer = other;
  }
  say(draft, walk, std::move(last), tone);
}

}  // namespace

PartState new_part(Draft& draft, WalkDraft& walk, LotDraft& lot, std::int64_t serial) {
  const bool in_process = stage_group(walk.state.stage) == "in_process";
  PartState part;
  part.serial = serial;
  part.stage = !in_process                        ? walk.state.stage
               : lot.state.need == "first_part"   ? "first part"
               : walk.state.stage == "setup"      ? "in process"
               : walk.state.stage == "first part" ? "in process"
                                                  : walk.state.stage;
  part.machine = lot.state.machine;
  part.program = lot.state.program;
  part.place_on_machine = lot.state.place_on_machine;
  part.begun = draft.now();
  for (const auto index : walk.state.order) {
    const auto& feature = walk.edition->edition.features[walk.edition->steps[index].feature];
    // A derived feature that is named names what it draws on.
    const auto& feeds = walk.edition->features[walk.edition->steps[index].feature].feeds;
    const bool named = is_named(lot.state, feature) || std::any_of(feeds.begin(), feeds.end(), [&](std::size_t derived) {
                         return is_named(lot.state, walk.edition->edition.features[derived]);
                       });
    if (asked_in(feature, part.stage) || named) part.asked.push_back(index);
  }
  ask_suspects_alone(draft, walk, lot, part);
  part.steps.resize(part.asked.size());
  // One event may begin several parts: of a tray, or at all benches that waited for a release. Each has a key of its own.
  if (draft.parts_begun++ > 0) part.key = "." + std::to_string(serial);
  claim_part(lot, walk, part);
  return part;
}

bool is_named(const LotState& lot, const checklist::Feature& feature) {
  return std::find(lot.named_features.begin(), lot.named_features.end(), feature.key) != lot.named_features.end();
}

namespace {

void begin_part(Draft& draft, WalkDraft& walk, LotDraft& lot, std::int64_t serial) {
  PartState part = new_part(draft, walk, lot, serial);
  walk.change.part = part;
  walk.state.part = std::move(part);
  walk.state.standing.pointer = 0;
  walk.state.standing.between = false;
}

}  // namespace

std::size_t counted_attempts(const StepState& step) {
  std::size_t count = 0;
  for (const auto& attempt : step.attempts) count += attempt.aside ? 0 : 1;
  return count;
}

bool part_touched(const PartState& part) {
  for (const auto& step : part.steps)
    if (step.status != "open" || counted_attempts(step) > 0) return true;
  return false;
}

bool part_ever_read(const PartState& part) {
  return part_touched(part) || std::any_of(part.steps.begin(), part.steps.end(), [](const StepState& step) { return !step.attempts.empty(); });
}

void begin_next_part(Draft& draft, WalkDraft& walk, bool by_key) {
  auto& lot = draft.lot(walk.state.lot);
  auto& standing = walk.state.standing;
  standing.no_part_left = false;
  const bool in_process = stage_group(walk.state.stage) == "in_process";
  // A first part is measured alone: only once the setup is released does a tray begin.
  const bool by_tray = walk.state.tray > 1 && !(in_process && lot.state.need == "first_part");
  const auto serials = free_serials(walk.state, lot, by_tray ? static_cast<std::size_t>(walk.state.tray) : 1);
  if (serials.empty()) {
    standing.no_part_left = true;
    standing.between = false;
    return;
  }
  if (in_process && lot.state.need == "release") {
    Hold hold;
    hold.kind = "setup_not_released";
    hold.hard = true;
    standing.hold = hold;
    return;
  }
  if (walk.edition->edition.next_part == "by_key" && !by_key && walk.before) {
    standing.between = true;
    return;
  }
  if (by_tray) begin_tray(draft, walk, lot, serials);
  else begin_part(draft, walk, lot, serials.front());
}

void count_value(Draft& draft, WalkDraft& walk, std::size_t asked, const Offered& offered) {
  const auto& prepared = walk.prepared(asked);
  const auto judgement = prepared.judge_in(walk.part().stage, offered.value);
  const auto [value, unit] = text_for_print(offered.value, prepared.unit);
  Attempt attempt;
  attempt.value = value;
  attempt.unit = unit == walk.feature(asked).unit ? "" : unit;
  attempt.gauge = offered.gauge;
  attempt.typed = offered.typed;
  attempt.confirmed = offered.confirmed;
  attempt.sweep = offered.sweep;
  const bool by_place = prepared.reduction == Reduction::each;
  Last last = last_of(walk, asked, draft, "counted");
  last.value = value;
  last.unit = unit;
  if (by_place && judgement) {
    attempt.verdict = std::string(name(judgement->verdict));
    // What is not judged is taken: it counts, and nothing is said of it.
    if (!prepared.unjudged) {
      last.verdict = attempt.verdict;
      last.side = std::string(name(judgement->side));
      last.by = text_for_print(judgement->by, prepared.unit).first;
    }
  }
  last.gauge = offered.gauge;
  last.typed = offered.typed;
  last.confirmed = offered.confirmed;
  last.sent_value = offered.sent_value;
  last.sent_unit = offered.sent_unit;
  if (!prepared.unjudged) {
    last.limits_of = limits_of_stage(walk.feature(asked), walk.part().stage);
    last.judging = std::string(name(prepared.rule.method));
    last.decision = std::string(name(prepared.rule.decision));
  }
  const auto& material = last.material;
  last.material_left = last.verdict == "reject" && ((material == "outside" && last.side == "upper") ||
                                                    (material == "inside" && last.side == "lower"));
  if (walk.part().slot > 0 && draft.states.gauges.contains(offered.gauge) && !used_on(walk.part(), offered.gauge))
    ++draft.gauge(offered.gauge).state.parts_since;   // on a tray as it comes, since all its parts end late
  auto& step = walk.touch(asked);
  step.attempts.push_back(attempt);
  if (by_place) {
    step.status = settled(step, false).empty() ? "open" : "done";
  } else {
    step.status = "done";
    settle_round(walk, asked);
    last.verdict = step.attempts.back().verdict;   // of the whole round, once it is complete
  }
  after_step(draft, walk, asked, std::move(last));
}

void count_answer(Draft& draft, WalkDraft& walk, std::size_t asked, bool good) {
  Attempt attempt;
  attempt.value = good ? "good" : "not_good";
  attempt.verdict = good ? "accept" : "reject";
  Last last = last_of(walk, asked, draft, "answer");
  last.value = attempt.value;
  last.verdict = attempt.verdict;
  auto& step = walk.touch(asked);
  step.attempts.push_back(attempt);
  step.status = settled(step, true).empty() ? "open" : "done";
  after_step(draft, walk, asked, std::move(last));
}

void reopen(WalkDraft& walk, std::size_t asked, const std::string& reason, const std::string& only_event) {
  auto& step = walk.touch(asked);
  for (auto& attempt : step.attempts)
    if (only_event.empty() || attempt.event == only_event) attempt.aside = true;
  step.status = "open";
  step.retaken = true;
  step.reason = reason;
  walk.state.standing.pointer = asked;
  walk.state.standing.reject_stands = false;
}

void pass_over(Draft& draft, WalkDraft& walk, std::size_t asked, const std::string& reason) {
  auto& step = walk.touch(asked);
  step.status = "passed";
  step.reason = reason;
  Last last = last_of(walk, asked, draft, "passed_over");
  last.why = reason;
  walk.state.standing.hold.reset();
  std::string tone = "place";
  go_on(draft, walk, tone);
  say(draft, walk, std::move(last), tone);
}

void go_on_after_hold(Draft& draft, WalkDraft& walk) {
  if (walk.has_part()) {
    if (!next_open(walk.part(), 0)) end_part(draft, walk);
    else if (in_tray(walk.state)) go_on_on_tray(walk);
  } else if (!walk.state.standing.between && !walk.state.standing.no_part_left) {
    begin_next_part(draft, walk, false);
  }
}

void part_anew(Draft& draft, WalkDraft& walk) {
  PartState& part = walk.part();
  for (std::size_t asked = 0; asked < part.steps.size(); ++asked) {
    auto& step = walk.touch(asked);
    for (auto& attempt : step.attempts) attempt.aside = true;
    step.status = "open";
    step.reason = "wrong part";
  }
  for (const auto& [feature, fact] : part.results) {
    auto& correction = add_fact(draft, walk, part, "correction");
    correction.overrules = fact;
    correction.feature = feature;
    correction.reason = "wrong part";
    forget_result(draft, fact);
  }
  part.results.clear();
  part.derived.clear();
  part.held = false;
  if (walk.state.standing.in_previous) {
    walk.change.previous = part;
  } else {
    walk.change.part = part;
  }
  auto& standing = walk.state.standing;
  standing.hold.reset();
  standing.counted.reset();
  standing.pointer = 0;
  if (in_tray(walk.state)) go_to_start_of_part(walk);
  standing.reject_stands = false;
  Last last;
  last.what = "part_anew";
  last.serial = part.serial;
  last.utc_us = draft.now().utc_us;
  say(draft, walk, std::move(last), "moved");
}

}  // namespace tallystick::walk
