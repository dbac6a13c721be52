// Commands about a bench and its walk: who is there, begin, park, take up, notes, tools, lifting, ending.
#include <set>

#include "daemon/checklist/plan.hpp"
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

/// The newest edition published and not withdrawn for the lot's size and print revision.
const PreparedEdition* newest_edition(const Draft& draft, const LotState& lot) {
  const EditionState* best = nullptr;
  for (const auto& [sha, state] : draft.states.editions) {
    if (state.withdrawn || state.family != lot.family || state.size != lot.size) continue;
    if (state.print_revision != lot.print_revision) continue;
    if (!best || best->number < state.number) best = &state;
  }
  if (!best) return nullptr;
  const auto found = draft.context.editions->find(best->sha);
  return found == draft.context.editions->end() ? nullptr : found->second.get();
}

/// Plan order over the whole edition, as indices of steps. A stage's features are picked from it part by part.
std::vector<std::size_t> steps_in_order(const Draft& draft, const PreparedEdition& prepared, const std::string& bench) {
  const auto gauge_of = [&](const checklist::Feature& feature) { return planned_gauge(draft, prepared, feature, bench); };
  checklist::Edition every = prepared.edition;
  for (auto& feature : every.features) feature.stages.clear();
  std::vector<std::size_t> out;
  for (const auto feature : checklist::plan_order(every, "", gauge_of))
    for (const auto step : prepared.features[feature].steps) out.push_back(step);
  return out;
}

Done read_tools(Draft& draft, WalkState& walk) {
  const auto* tools = draft.input.body.if_contains("tools");
  if (!tools || tools->is_null()) return {};
  if (!tools->is_object()) return fail("wrong_shape", "\"tools\" must be an object", "begin_walk");
  for (const auto& [kind, id] : tools->as_object()) {
    if (!id.is_string()) return fail("wrong_shape", "a tool's id must be a text", "tools");
    bool known = false;
    for (const auto& tool : draft.context.words->tools) {
      if (tool.id != id.as_string() || tool.kind != kind) continue;
      if (!tool.may_be_used) return fail("refused", "\"" + tool.id + "\" may not be used: " + tool.why_not, "tools");
      known = true;
    }
    if (!known) return fail("unknown_tool", "no " + std::string(kind) + " \"" + std::string(id.as_string()) + "\"", "tools");
    walk.tools[std::string(kind)] = std::string(id.as_string());
  }
  return {};
}

const std::set<std::string> stages = {"setup", "first part", "in process", "last part", "final", "after finish"};

/// As many slots as the edition says, or fewer; 0: part by part.
Expected<std::int64_t> slots_of_tray(const Draft& draft, const checklist::Edition& edition) {
  const auto most = edition.walk_order == "by_feature" ? std::int64_t{edition.tray} : std::int64_t{0};
  const auto wanted = body_number(draft.input, "tray", most);
  if (!wanted) return tl::unexpected(wanted.error());
  if (*wanted == most) return most < 2 ? 0 : most;
  if (most == 0)
    return fail("refused", "the edition is walked part by part, without a tray", "tray",
                "leave tray out, or publish a family with order = \"by_feature\"");
  if (*wanted < 1 || *wanted > most)
    return fail("wrong_shape", "a tray of " + std::to_string(*wanted) + " slots, the edition's has " + std::to_string(most), "tray",
                "1 (part by part) to " + std::to_string(most));
  return *wanted < 2 ? 0 : *wanted;
}

Done begin_walk(Draft& draft) {
  const auto lot_key = body_text(draft.input, "lot");
  if (!lot_key) return tl::unexpected(lot_key.error());
  const auto stage = body_text(draft.input, "stage");
  if (!stage) return tl::unexpected(stage.error());
  if (!stages.contains(*stage))
    return fail("wrong_shape", "no stage \"" + *stage + "\"", "stage",
                "one of setup, first part, in process, last part, final, after finish");
  if (!draft.states.lots.contains(*lot_key)) return fail("unknown_lot", "no open lot " + *lot_key, "lot");
  auto& bench = draft.bench(draft.input.bench);
  if (!bench.walk.empty()) {
    auto& old = draft.walk(bench.walk);
    if (!old.state.standing.no_part_left)
      return fail("not_now", "a walk is active at this bench", bench.bench, "park it or end it first");
    old.state.standing.life = "ended";
    old.change.gone = true;
    bench.walk.clear();
  }
  auto& lot = draft.lot(*lot_key);
  if (!lot.state.closed_utc.empty() && lot.before->given_back.empty())
    return fail("not_now", "lot " + lot.state.lot_name + " was closed", *lot_key, "open another lot");
  const auto first = body_number(draft.input, "first", lot.state.first);
  const auto last = body_number(draft.input, "last", lot.state.last);
  if (!first) return tl::unexpected(first.error());
  if (!last) return tl::unexpected(last.error());
  if (*first < lot.state.first || *last > lot.state.last || *first > *last)
    return fail("wrong_shape", "serials " + std::to_string(*first) + " to " + std::to_string(*last) +
                " do not lie in the lot's " + std::to_string(lot.state.first) + " to " + std::to_string(lot.state.last), "first");
  const auto* edition = newest_edition(draft, lot.state);
  if (!edition)
    return fail("no_edition", "no edition is published for " + lot.state.size + " at print revision " +
                lot.state.print_revision, *lot_key, "the lead publishes one");
  const auto tray = slots_of_tray(draft, edition->edition);
  if (!tray) return tl::unexpected(tray.error());
  WalkState state;
  state.tray = *tray;
  state.bench = bench.bench;
  state.lot = *lot_key;
  state.edition = edition->sha;
  state.stage = *stage == "after_finish" ? "after finish" : *stage;
  state.person = bench.person;
  state.first = *first;
  state.last = *last;
  state.order = steps_in_order(draft, *edition, bench.bench);
  state.standing.since = draft.now();
  if (auto done = read_tools(draft, state); !done) return done;
  auto& walk = draft.begin_walk(std::move(state), edition);
  bench.walk = "this";
  begin_next_part(draft, walk, true);
  if (walk.state.part && walk.state.part->asked.empty())
    return fail("refused", "the edition asks for nothing at stage " + *stage, *lot_key);
  if (walk.state.standing.no_part_left)
    return fail("no_part_left", "every part of the lot was claimed at this stage", *lot_key, "see who has which part");
  draft.about_walk = "this";
  draft.about_lot = *lot_key;
  draft.person = bench.person;
  draft.out.what = "walk_begun";
  draft.out.tone = "moved";
  return {};
}

Done park(Draft& draft) {
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  auto& bench = draft.bench((*walk)->state.bench);
  (*walk)->state.standing.life = "parked";
  (*walk)->state.standing.capture.clear();
  (*walk)->state.standing.asked_gauge.clear();
  (*walk)->state.standing.since = draft.now();
  bench.parked.push_back(bench.walk);
  bench.walk.clear();
  draft.out.what = "parked";
  return {};
}

Done take_up(Draft& draft) {
  const auto key = body_text(draft.input, "walk");
  if (!key) return tl::unexpected(key.error());
  auto& bench = draft.bench(draft.input.bench);
  if (std::find(bench.parked.begin(), bench.parked.end(), *key) == bench.parked.end())
    return fail("unknown_walk", "no parked walk " + *key + " at this bench", bench.bench);
  if (!bench.walk.empty()) return fail("not_now", "a walk is active at this bench", bench.bench, "park it or end it first");
  std::erase(bench.parked, *key);
  bench.walk = *key;
  auto& walk = draft.walk(*key);
  walk.state.standing.life = "active";
  walk.state.standing.resumed = walk.state.standing.counted.has_value();
  walk.state.standing.since = draft.now();
  draft.about_walk = *key;
  draft.about_lot = walk.state.lot;
  draft.person = bench.person;
  draft.out.what = "taken_up";
  draft.out.tone = "moved";
  return {};
}

/// Gauges whose setting ends with the person. Their results stay good: only the next reading needs a setting first.
void void_settings(Draft& draft, const std::string& bench, const std::string& by) {
  for (const auto& id : draft.gauges_of_bench(bench)) {
    const auto& list = draft.states.gauges.at(id).card.setting.void_on;
    if (std::find(list.begin(), list.end(), by) == list.end()) continue;
    auto& gauge = draft.gauge(id);
    gauge.state.void_why = by;
    gauge.state.void_at = draft.now();
  }
}

Done state_person(Draft& draft, bool takes_walk) {
  const auto person = body_text(draft.input, "person");
  if (!person) return tl::unexpected(person.error());
  auto& bench = draft.bench(draft.input.bench);
  if (takes_walk) {
    if (person->empty()) return fail("wrong_shape", "a walk needs a name", "person");
    auto walk = active_walk(draft);
    if (!walk) return tl::unexpected(walk.error());
    (*walk)->state.person = *person;
  }
  if (bench.person != *person) void_settings(draft, bench.bench, "person");
  bench.person = *person;
  bench.person_since = draft.now();
  draft.person = *person;
  draft.out.what = "person_stated";
  return {};
}

Done state_tool(Draft& draft) {
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  const auto kind = body_text(draft.input, "tool");
  const auto id = body_text(draft.input, "id");
  if (!kind) return tl::unexpected(kind.error());
  if (!id) return tl::unexpected(id.error());
  for (const auto& tool : draft.context.words->tools) {
    if (tool.id != *id || tool.kind != *kind) continue;
    if (!tool.may_be_used) return fail("refused", "\"" + *id + "\" may not be used: " + tool.why_not, "id");
    (*walk)->state.tools[*kind] = *id;
    draft.out.what = "tool_stated";
    return {};
  }
  return fail("unknown_tool", "no " + *kind + " \"" + *id + "\" in the configuration", "id");
}

/// A reading of another part of the tray: that part comes into the hand.
void reach_reading(Draft& draft, WalkDraft& walk, const std::string& reading) {
  const auto has_it = [&](const PartState& part) {
    return std::any_of(part.steps.begin(), part.steps.end(), [&](const StepState& step) {
      return std::any_of(step.attempts.begin(), step.attempts.end(),
                         [&](const Attempt& attempt) { return attempt.event == reading && !attempt.aside; });
    });
  };
  if (reach_on_tray(walk, has_it)) open_part_again(draft, walk);
}

Done set_aside(Draft& draft) {
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  const auto reading = body_text(draft.input, "reading");
  if (!reading) return tl::unexpected(reading.error());
  const auto reason = body_text(draft.input, "reason");
  if (!reason) return tl::unexpected(reason.error());
  if (!(*walk)->has_part()) return fail("not_now", "no part is being measured", (*walk)->state.bench);
  reach_reading(draft, **walk, *reading);
  for (std::size_t asked = 0; asked < (*walk)->part().steps.size(); ++asked)
    for (const auto& attempt : (*walk)->part().steps[asked].attempts)
      if (attempt.event == *reading && !attempt.aside) {
        reopen(**walk, asked, *reason, *reading);
        if ((*walk)->state.standing.counted && (*walk)->state.standing.counted->event == *reading)
          (*walk)->state.standing.counted.reset();
        Last last = last_of(**walk, asked, draft, "set_aside");
        last.why = *reason;
        say(draft, **walk, std::move(last), "moved");
        return {};
      }
  return fail("unknown_reading", "no reading " + *reading + " counts in this part", "reading");
}

/// A reading that came at the wrong step of this part goes to another one, where it is judged anew.
Done move_reading(Draft& draft) {
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  const auto reading = body_text(draft.input, "reading");
  const auto feature = body_text(draft.input, "feature");
  const auto place = body_text(draft.input, "place", false);
  if (!reading) return tl::unexpected(reading.error());
  if (!feature) return tl::unexpected(feature.error());
  if (!place) return tl::unexpected(place.error());
  if (!(*walk)->has_part()) return fail("not_now", "no part is being measured", (*walk)->state.bench);
  reach_reading(draft, **walk, *reading);
  std::optional<Attempt> found;
  std::optional<std::size_t> from, to;
  for (std::size_t asked = 0; asked < (*walk)->part().steps.size(); ++asked) {
    for (const auto& attempt : (*walk)->part().steps[asked].attempts)
      if (attempt.event == *reading && !attempt.aside) found = attempt, from = asked;
    const auto& candidate = (*walk)->feature(asked);
    if (candidate.key == *feature && (candidate.places.empty() || place->empty() || candidate.places[(*walk)->step(asked).place] == *place) && !to)
      to = asked;
  }
  if (!found) return fail("unknown_reading", "no reading " + *reading + " counts in this part", "reading");
  if (!to || (*walk)->part().steps[*to].status != "open" || !(*walk)->prepared(*to).measured)
    return fail("not_now", "step \"" + *feature + "\" is not open for a value", "feature");
  const auto unit = found->unit.empty() ? Expected<Unit>((*walk)->prepared(*from).unit) : Unit::named(found->unit);
  const auto value = Quantity::parse(found->value, *unit);
  if (!value || !convertible(*unit, (*walk)->prepared(*to).unit)) return fail("wrong_unit", "that value does not measure this feature", *feature);
  reopen(**walk, *from, "moved to another step", *reading);
  Offered offered;
  offered.gauge = found->gauge;
  offered.value = *value;
  offered.sent_value = found->value;
  offered.sent_unit = std::string(unit->name());
  offered.typed = found->typed;
  (*walk)->state.standing.pointer = *to;
  judge_offered(draft, **walk, *to, offered);
  return {};
}

Done lift_hold(Draft& draft) {
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  auto& standing = (*walk)->state.standing;
  if (!standing.hold || !standing.hold->hard) return fail("not_now", "no hard hold to lift", (*walk)->state.bench);
  const auto person = body_text(draft.input, "person");
  const auto reason = body_text(draft.input, "reason");
  if (!person) return tl::unexpected(person.error());
  if (!reason) return tl::unexpected(reason.error());
  if (person->empty() || *person == (*walk)->state.person)
    return fail("refused", "a hard hold is lifted by a person other than the walk's", "person");
  const std::string kind = standing.hold->kind;
  if (kind == "setup_not_released")
    return fail("refused", "the setup needs a run release", (*walk)->state.bench, "send run_release");
  standing.hold.reset();
  draft.person = *person;
  if (kind == "no_gauge") pass_over(draft, **walk, standing.pointer, *reason);
  else go_on_after_hold(draft, **walk);
  draft.out.what = "hold_lifted";
  draft.out.tone = "moved";
  return {};
}

/// A part that something was read from and that has no end yet; null: none.
const PartState* begun_part(const WalkState& walk) {
  const auto begun = [](const PartState& part) { return part.end.empty() && part_touched(part); };
  if (walk.part && begun(*walk.part)) return &*walk.part;
  for (const auto& [slot, part] : walk.others)
    if (begun(part)) return &part;
  return nullptr;
}

Done end_or_give_up(Draft& draft, bool give_up) {
  const auto reason = body_text(draft.input, "reason", give_up);
  if (!reason) return tl::unexpected(reason.error());
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  auto& state = (*walk)->state;
  if (!give_up)
    if (const auto* part = begun_part(state))
      return fail("not_now", "part " + std::to_string(part->serial) + " is begun and not ended", state.bench,
                  "finish it, park the walk, or give it up with a reason");
  end_walk(draft, **walk, give_up ? "given_up" : "ended");
  draft.out.why = *reason;
  return {};
}

Done note(Draft& draft) {
  const auto text = body_text(draft.input, "text");
  if (!text) return tl::unexpected(text.error());
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  draft.out.what = "note";
  return {};
}

}  // namespace

void end_walk(Draft& draft, WalkDraft& walk, const std::string& life) {
  walk.state.standing.life = life;
  walk.change.gone = true;
  auto& bench = draft.bench(walk.state.bench);
  if (bench.walk == walk.state.key) bench.walk.clear();
  std::erase(bench.parked, walk.state.key);
  give_parts_back(draft, walk.state);
  draft.out.what = "walk_" + life;
}

Done decide_walk_command(Draft& draft) {
  const auto& kind = draft.input.kind;
  if (kind == "begin_walk") return begin_walk(draft);
  if (kind == "park") return park(draft);
  if (kind == "take_up") return take_up(draft);
  if (kind == "state_person") return state_person(draft, false);
  if (kind == "change_person") return state_person(draft, true);
  if (kind == "state_tool") return state_tool(draft);
  if (kind == "set_aside") return set_aside(draft);
  if (kind == "move_reading") return move_reading(draft);
  if (kind == "lift_hold") return lift_hold(draft);
  if (kind == "end_walk") return end_or_give_up(draft, false);
  if (kind == "give_up") return end_or_give_up(draft, true);
  return note(draft);
}

}  // namespace tallystick::walk
