// Copies a committed outcome into the state. Applies no rule: whatever had to be decided stands in the outcome.
#include <algorithm>

#include "daemon/walk/outcome.hpp"

namespace tallystick::walk {

void take_in_hand(WalkState& walk, const std::string& slot) {
  const auto other = walk.others.find(slot);
  if (!walk.part || other == walk.others.end()) return;
  PartState taken = std::move(other->second);
  walk.others.erase(other);
  walk.others[std::to_string(walk.part->slot)] = std::move(*walk.part);
  walk.part = std::move(taken);
}

namespace {

/// "" and "this" stand for the event itself, whose number `decide` could not know; ".3" for its part 3.
void fill(std::string& place, const std::string& key) {
  if (place.empty() || place == "this") place = key;
  else if (place.front() == '.') place = key + place;
}

void fill(std::vector<StepState>& steps, const std::string& key);
void fill(StepState& step, const std::string& key) {
  for (auto& attempt : step.attempts) fill(attempt.event, key);
}
void fill(std::vector<StepState>& steps, const std::string& key) {
  for (auto& step : steps) fill(step, key);
}

void fill_part(PartState& part, const std::string& key) {
  fill(part.key, key);
  fill(part.steps, key);
  for (auto& [feature, fact] : part.results)
    if (fact.starts_with("/")) fact = key + fact;
}

void fill_standing(Standing& standing, const std::string& key) {
  if (standing.hold) fill(standing.hold->event, key);
  if (standing.last) fill(standing.last->event, key);
  if (standing.counted) fill(standing.counted->event, key);
}

void copy_steps(std::optional<PartState>& part, const std::map<std::string, StepState>& steps, const std::string& key) {
  if (!part) return;
  for (const auto& [index, step] : steps) {
    const auto at = static_cast<std::size_t>(std::stoul(index));
    if (at >= part->steps.size()) continue;
    part->steps[at] = step;
    fill(part->steps[at], key);
  }
}

void copy_results(std::optional<PartState>& part, const std::map<std::string, std::string>& results, const std::string& key) {
  if (!part) return;
  for (const auto& [feature, n] : results) part->results[feature] = key + "/" + n;
}

void copy_derived(std::optional<PartState>& part, const std::map<std::string, std::string>& derived) {
  if (!part) return;
  for (const auto& [feature, verdict] : derived) part->derived[feature] = verdict;
}

void end_tray(WalkState& walk, const std::string& slot) {
  if (const auto other = walk.others.find(slot); other != walk.others.end()) walk.previous = std::move(other->second);
  else walk.previous = std::move(walk.part);
  walk.part.reset();
  walk.others.clear();
  walk.tray_order.clear();
}

void begin_tray(WalkState& walk, const TrayBegun& tray, const std::string& key) {
  walk.others = tray.others;
  for (auto& [slot, part] : walk.others) fill_part(part, key);
  walk.tray_order = tray.order;
}

void copy_walk(WalkState& walk, const WalkChange& change, const std::string& key) {
  if (change.previous) {
    walk.previous = change.previous;
    fill_part(*walk.previous, key);
  }
  copy_steps(walk.previous, change.previous_steps, key);
  copy_results(walk.previous, change.previous_results, key);
  copy_derived(walk.previous, change.previous_derived);
  if (change.previous_held && walk.previous) walk.previous->held = *change.previous_held;
  if (!change.previous_ended.empty() && walk.previous) walk.previous->end = change.previous_ended;
  if (!change.reach.empty()) take_in_hand(walk, change.reach);
  if (change.reopened && walk.part) {
    walk.part->end.clear();
    --walk.ended_parts;
  }
  copy_steps(walk.part, change.steps, key);
  copy_results(walk.part, change.results, key);
  copy_derived(walk.part, change.derived);
  if (change.held && walk.part) walk.part->held = *change.held;
  if (!change.ended.empty() && walk.part) {
    walk.part->end = change.ended;
    walk.previous = std::move(walk.part);
    walk.part.reset();
    ++walk.ended_parts;
  }
  if (!change.tray_part_ended.empty() && walk.part) {
    walk.part->end = change.tray_part_ended;
    ++walk.ended_parts;
  }
  if (!change.turn.empty()) take_in_hand(walk, change.turn);
  if (!change.tray_ended.empty()) end_tray(walk, change.tray_ended);
  if (change.part) {
    walk.part = change.part;
    fill_part(*walk.part, key);
  }
  if (change.tray) begin_tray(walk, *change.tray, key);
  if (change.standing) {
    walk.standing = *change.standing;
    fill_standing(walk.standing, key);
  }
  if (change.person) walk.person = *change.person;
  for (const auto& [tool, id] : change.tools) walk.tools[tool] = id;
}

void copy_lot(LotState& lot, const LotChange& change, const std::string& key) {
  for (const auto& [serial, claim] : change.claims) {
    auto& own = lot.claims[serial];
    own = claim;
    fill(own.walk, key);
    fill(own.part, key);
    auto& back = lot.given_back;
    const auto at = std::lower_bound(back.begin(), back.end(), serial);
    const bool listed = at != back.end() && *at == serial;
    if (claim.end == "given_back" && !listed) back.insert(at, serial);
    if (claim.end != "given_back" && listed) back.erase(at);
  }
  if (change.need) lot.need = *change.need;
  if (change.then_release) lot.then_release = *change.then_release;
  if (change.first_part_by) lot.first_part_by = *change.first_part_by;
  if (change.run_change) lot.run_change = *change.run_change;
  if (change.closed_utc) lot.closed_utc = *change.closed_utc;
  if (change.closed_by) lot.closed_by = *change.closed_by;
  if (change.named_features) lot.named_features = *change.named_features;
  for (const auto& [what, value] : change.run) {
    if (what == "machine") lot.machine = value;
    if (what == "program") lot.program = value;
    if (what == "place_on_machine") lot.place_on_machine = value;
    if (what == "heat") lot.heat = value;
  }
}

void copy_gauge(GaugeState& gauge, const GaugeChange& change, const std::string& key, const Stamp& stamp) {
  if (change.card) gauge.card = *change.card;
  if (change.fitness) gauge.fitness = *change.fitness;
  if (change.void_why) gauge.void_why = *change.void_why;
  if (change.void_at) gauge.void_at = *change.void_at;
  if (change.last_text) gauge.last_text = *change.last_text;
  if (change.first_read) gauge.first_read = *change.first_read;
  if (change.zero) gauge.zero = *change.zero;
  if (change.gain) gauge.gain = *change.gain;
  if (change.last_at) gauge.last_at = *change.last_at;
  if (change.parts_since) gauge.parts_since = *change.parts_since;
  if (change.as_found) {
    gauge.as_found = *change.as_found;
    for (auto& attempt : gauge.as_found) fill(attempt.event, key);
  }
  if (change.set_now) {
    gauge.set_at = stamp;
    gauge.set_event = key;
  }
  if (change.forget_all) gauge.since_good.clear();
  for (const auto& fact : change.forgotten)
    std::erase_if(gauge.since_good, [&](const ResultMade& made) { return made.fact == fact; });
  for (auto made : change.made) {
    made.fact = key + "/" + made.fact;
    gauge.since_good.push_back(std::move(made));
  }
}

}  // namespace

void evolve(States& states, const Outcome& outcome, const Key& event, const Stamp& stamp) {
  const std::string key = text(event);
  for (const auto& [id, bench] : outcome.benches) {
    auto& own = states.benches[id];
    own = bench;
    if (own.walk == "this") own.walk = key;
    if (own.last) fill(own.last->event, key);
  }
  for (const auto& [id, change] : outcome.lots) {
    if (change.opened) {
      auto& lot = states.lots[key];
      lot = *change.opened;
      lot.key = key;
      continue;
    }
    if (const auto lot = states.lots.find(id); lot != states.lots.end()) copy_lot(lot->second, change, key);
  }
  for (const auto& [id, change] : outcome.walks) {
    if (change.begun) {
      auto& walk = states.walks[key];
      walk = *change.begun;
      walk.key = key;
      if (walk.part) fill_part(*walk.part, key);
      for (auto& [slot, part] : walk.others) fill_part(part, key);
      fill_standing(walk.standing, key);
      continue;
    }
    const auto walk = states.walks.find(id);
    if (walk == states.walks.end()) continue;
    if (change.gone) states.walks.erase(walk);
    else copy_walk(walk->second, change, key);
  }
  for (const auto& [id, change] : outcome.gauges) copy_gauge(states.gauges[id], change, key, stamp);
  for (const auto& [sha, edition] : outcome.editions) states.editions[sha] = edition;
  for (auto [fact, suspect] : outcome.suspects) {
    suspect.mark = key + "/" + suspect.mark;
    states.suspects[fact] = std::move(suspect);
  }
  for (const auto& [fact, suspect] : outcome.decided) states.suspects[fact] = suspect;
  for (const auto& fact : outcome.cleared) states.suspects.erase(fact);
}

}  // namespace tallystick::walk
