#include "daemon/walk/draft.hpp"

#include <boost/describe.hpp>
#include <boost/mp11.hpp>

#include "daemon/measure/json_mirror.hpp"

namespace tallystick::walk {

namespace {

/// A copy of every member but one.
template <auto Left, class State>
State copy_without(const State& state) {
  State copy;
  boost::mp11::mp_for_each<boost::describe::describe_members<State, boost::describe::mod_public>>([&](auto member) {
    if constexpr (requires { member.pointer == Left; }) {
      if (member.pointer == Left) return;
    }
    copy.*member.pointer = state.*member.pointer;
  });
  return copy;
}

}  // namespace

const Claim* LotDraft::claim(const std::string& key) const {
  if (const auto found = written.find(key); found != written.end()) return &found->second;
  if (!before) return nullptr;
  const auto known = before->claims.find(key);
  return known == before->claims.end() ? nullptr : &known->second;
}

Claim& LotDraft::write(const std::string& key) {
  const Claim* known = claim(key);
  return written.try_emplace(key, known ? *known : Claim{}).first->second;
}

StepState& WalkDraft::touch(std::size_t asked) {
  if (state.standing.in_previous) {
    previous_touched.insert(asked);
    return state.previous->steps[asked];
  }
  touched.insert(asked);
  return state.part->steps[asked];
}

BenchState& Draft::bench(const std::string& id) {
  if (const auto found = benches_.find(id); found != benches_.end()) return found->second;
  const auto known = states.benches.find(id);
  BenchState copy = known != states.benches.end() ? known->second : BenchState{};
  copy.bench = id;
  return benches_.emplace(id, std::move(copy)).first->second;
}

WalkDraft& Draft::walk(const std::string& key) {
  if (const auto found = walks_.find(key); found != walks_.end()) return found->second;
  WalkDraft draft;
  draft.before = &states.walks.at(key);
  draft.state = *draft.before;
  draft.edition = edition_of(draft.state, context);
  return walks_.emplace(key, std::move(draft)).first->second;
}

GaugeDraft& Draft::gauge(const std::string& id) {
  if (const auto found = gauges_.find(id); found != gauges_.end()) return found->second;
  GaugeDraft draft;
  if (const auto known = states.gauges.find(id); known != states.gauges.end()) {
    draft.before = &known->second;
    draft.state = copy_without<&GaugeState::since_good>(known->second);
  }
  return gauges_.emplace(id, std::move(draft)).first->second;
}

LotDraft& Draft::lot(const std::string& key) {
  if (const auto found = lots_.find(key); found != lots_.end()) return found->second;
  LotDraft draft;
  draft.before = &states.lots.at(key);
  draft.state = copy_without<&LotState::claims>(*draft.before);
  return lots_.emplace(key, std::move(draft)).first->second;
}

WalkDraft& Draft::begin_walk(WalkState state, const PreparedEdition* edition) {
  WalkDraft draft;
  draft.state = std::move(state);
  draft.edition = edition;
  return walks_.emplace("", std::move(draft)).first->second;
}

LotDraft& Draft::open_lot(LotState state) {
  LotDraft draft;
  draft.state = std::move(state);
  return lots_.emplace("", std::move(draft)).first->second;
}

const GaugeState* Draft::look_at_gauge(const std::string& id) const {
  if (const auto found = gauges_.find(id); found != gauges_.end()) return &found->second.state;
  const auto known = states.gauges.find(id);
  return known == states.gauges.end() ? nullptr : &known->second;
}

std::vector<std::string> Draft::gauges_of_bench(const std::string& bench) const {
  std::vector<std::string> found;
  for (const auto& [id, gauge] : states.gauges)
    if (gauge.card.bench == bench) found.push_back(id);
  return found;
}

std::optional<Stamp> Draft::told(const std::string& ask) const {
  if (!context.told) return {};
  const auto found = context.told->find(ask);
  if (found == context.told->end()) return {};
  return found->second;
}

void Draft::refresh_walk(WalkDraft& walk) { refresh(*this, walk); }

namespace {

template <class T>
void note_change(std::optional<T>& change, const T& before, const T& now) {
  if (!(before == now)) change = now;
}

void finish_walk(WalkDraft& walk) {
  auto& change = walk.change;
  if (!walk.before) {
    change.begun = walk.state;
    return;
  }
  const WalkState& before = *walk.before;
  note_change(change.standing, before.standing, walk.state.standing);
  if (before.person != walk.state.person) change.person = walk.state.person;
  for (const auto& [tool, id] : walk.state.tools)
    if (const auto known = before.tools.find(tool); known == before.tools.end() || known->second != id)
      change.tools[tool] = id;
  // A part that begins is written whole; the steps of the part that ended in the same event go to the part before.
  if (!change.part)
    for (const auto asked : walk.touched) change.steps[std::to_string(asked)] = walk.state.part->steps[asked];
  if (!change.previous)
    for (const auto asked : walk.previous_touched)
      change.previous_steps[std::to_string(asked)] = walk.state.previous->steps[asked];
}

void finish_gauge(const GaugeState& before, GaugeDraft& gauge) {
  auto& change = gauge.change;
  note_change(change.fitness, before.fitness, gauge.state.fitness);
  note_change(change.void_why, before.void_why, gauge.state.void_why);
  note_change(change.void_at, before.void_at, gauge.state.void_at);
  note_change(change.last_text, before.last_text, gauge.state.last_text);
  note_change(change.first_read, before.first_read, gauge.state.first_read);
  note_change(change.zero, before.zero, gauge.state.zero);
  note_change(change.gain, before.gain, gauge.state.gain);
  note_change(change.last_at, before.last_at, gauge.state.last_at);
  note_change(change.parts_since, before.parts_since, gauge.state.parts_since);
  note_change(change.as_found, before.as_found, gauge.state.as_found);
  note_change(change.card, before.card, gauge.state.card);
}

void finish_lot(LotDraft& lot) {
  auto& change = lot.change;
  if (lot.opened()) {
    change = {};
    change.opened = lot.state;
    return;
  }
  const LotState& before = *lot.before;
  for (const auto& [serial, claim] : lot.written)
    if (const auto known = before.claims.find(serial); known == before.claims.end() || !(known->second == claim))
      change.claims[serial] = claim;
  note_change(change.need, before.need, lot.state.need);
  note_change(change.then_release, before.then_release, lot.state.then_release);
  note_change(change.first_part_by, before.first_part_by, lot.state.first_part_by);
  note_change(change.run_change, before.run_change, lot.state.run_change);
  note_change(change.closed_utc, before.closed_utc, lot.state.closed_utc);
  note_change(change.closed_by, before.closed_by, lot.state.closed_by);
  note_change(change.named_features, before.named_features, lot.state.named_features);
  if (before.machine != lot.state.machine) change.run["machine"] = lot.state.machine;
  if (before.program != lot.state.program) change.run["program"] = lot.state.program;
  if (before.place_on_machine != lot.state.place_on_machine)
    change.run["place_on_machine"] = lot.state.place_on_machine;
  if (before.heat != lot.state.heat) change.run["heat"] = lot.state.heat;
}

}  // namespace

std::string planned_gauge(const Draft& draft, const PreparedEdition& prepared, const checklist::Feature& feature,
                          const std::string& bench) {
  for (const auto& id : draft.gauges_of_bench(bench)) {
    const auto& card = draft.states.gauges.at(id).card;
    if (shop::why_not_served(card, feature, prepared.edition.gauge_step_share, bench).empty()) return id;
  }
  return {};
}

Decision Draft::finish() {
  Decision decision;
  for (auto& [id, bench] : benches_) {
    decision.owners.push_back("1 bench/" + id);
    const auto known = states.benches.find(id);
    if (known == states.benches.end() || !(known->second == bench)) out.benches[id] = bench;
  }
  for (auto& [key, walk] : walks_) {
    if (!key.empty()) decision.owners.push_back("2 walk/" + key);
    finish_walk(walk);
    if (!(walk.change == WalkChange{})) out.walks[key] = walk.change;
  }
  for (auto& [key, lot] : lots_) {
    if (!key.empty()) decision.owners.push_back("3 lot/" + key);
    finish_lot(lot);
    if (!(lot.change == LotChange{})) out.lots[key] = lot.change;
  }
  for (auto& [id, gauge] : gauges_) {
    decision.owners.push_back("4 gauge/" + id);
    static const GaugeState none;
    finish_gauge(gauge.before ? *gauge.before : none, gauge);
    if (!(gauge.change == GaugeChange{})) out.gauges[id] = gauge.change;
  }
  for (const auto& edition : out.editions) decision.owners.push_back("5 edition/" + edition.second.family);
  std::sort(decision.owners.begin(), decision.owners.end());
  out.told = context.told_to_keep;
  decision.outcome = std::move(out);
  decision.attachments = std::move(attachments);
  decision.walk = about_walk;
  decision.lot = about_lot;
  decision.gauge = about_gauge;
  decision.person = person;
  return decision;
}

Expected<WalkDraft*> active_walk(Draft& draft) {
  const auto bench = draft.states.benches.find(draft.input.bench);
  if (bench == draft.states.benches.end() || bench->second.walk.empty())
    return fail("no_walk", "no walk is active at this bench", draft.input.bench, "begin one, or take up a parked one");
  auto& walk = draft.walk(bench->second.walk);
  if (!walk.edition)
    return fail("edition_missing", "the walk's edition is not in the record", walk.state.edition, "run tallystick verify");
  draft.about_walk = walk.state.key;
  draft.about_lot = walk.state.lot;
  draft.person = walk.state.person;
  return &walk;
}

Expected<std::string> body_text(const Input& input, const char* member, bool required) {
  const auto* value = input.body.if_contains(member);
  if (!value || value->is_null()) {
    if (!required) return std::string();
    return fail("wrong_shape", std::string("\"") + member + "\" is missing", input.kind);
  }
  if (!value->is_string()) return fail("wrong_shape", std::string("\"") + member + "\" must be a text", input.kind);
  if (value->as_string().size() > 2000)
    return fail("wrong_shape", std::string("\"") + member + "\" is longer than 2000 bytes", input.kind);
  return std::string(value->as_string());
}

Expected<std::int64_t> body_number(const Input& input, const char* member, std::optional<std::int64_t> otherwise) {
  const auto* value = input.body.if_contains(member);
  if (!value || value->is_null()) {
    if (otherwise) return *otherwise;
    return fail("wrong_shape", std::string("\"") + member + "\" is missing", input.kind);
  }
  boost::system::error_code code;
  const auto number = value->to_number<std::int64_t>(code);
  if (code) return fail("wrong_shape", std::string("\"") + member + "\" must be a whole number", input.kind);
  return number;
}

}  // namespace tallystick::walk
