// What the readings of a feature come to, and the fact that says so.
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

std::pair<std::string, std::string> text_for_print(Quantity value, Unit unit) {
  if (auto text = value.text(unit)) return {*text, std::string(unit.name())};
  return {value.text(), std::string(value.unit().name())};
}

std::string settled(const StepState& step, bool answer) {
  std::vector<const Attempt*> counted;
  for (const auto& attempt : step.attempts)
    if (!attempt.aside) counted.push_back(&attempt);
  if (counted.empty()) return "";
  const Attempt& newest = *counted.back();
  if (newest.verdict.empty()) return "";
  if (newest.confirmed) return newest.verdict;
  switch (counted.size()) {
    case 1: return newest.verdict == "accept" ? "accept" : "";
    case 2:
      if (answer) return newest.verdict;
      return newest.verdict == "reject" ? "reject" : "";
    default: return newest.verdict;
  }
}

Fact& add_fact(Draft& draft, const WalkDraft& walk, const PartState& part, const std::string& kind) {
  const auto& lot = draft.lot(walk.state.lot).state;
  const auto& edition = walk.edition->edition;
  Fact fact;
  fact.kind = kind;
  fact.family = edition.family;
  fact.size = edition.size;
  fact.print_revision = edition.print_revision;
  fact.part_number = edition.part_number;
  fact.lot = lot.key;
  fact.lot_name = lot.lot_name;
  fact.part = part.key;
  fact.serial = std::to_string(part.serial);
  if (part.slot > 0) fact.slot = std::to_string(part.slot);
  fact.stage = part.stage;
  fact.edition = walk.edition->sha;
  fact.edition_number = edition.number;
  fact.bench = walk.state.bench;
  fact.walk = walk.state.key;
  fact.person = walk.state.person;
  fact.person_how = walk.state.person.empty() ? "" : "name stated, not signed in";
  fact.machine = part.machine;
  fact.program = part.program;
  fact.place_on_machine = part.place_on_machine;
  fact.heat = lot.heat;
  fact.measured_utc = utc_text(draft.now().utc_us);
  fact.clock = draft.now().clock;
  draft.out.facts.push_back(std::move(fact));
  return draft.out.facts.back();
}

namespace {

/// The attempt of a step that decides: its newest that counts.
const Attempt* deciding(const StepState& step) {
  for (auto attempt = step.attempts.rbegin(); attempt != step.attempts.rend(); ++attempt)
    if (!attempt->aside) return &*attempt;
  return nullptr;
}

void add_word(std::string& list, const std::string& word) {
  if (word.empty() || (" " + list + " ").find(" " + word + " ") != std::string::npos) return;
  if (!list.empty()) list += ' ';
  list += word;
}

struct Gathered {
  std::vector<const StepState*> steps;
  std::vector<Quantity> values;
  bool complete = true, reject = false, again = false, typed = false, confirmed = false;
  std::string readings, gauges, reason;
};

Gathered gather(const WalkDraft& walk, std::size_t feature) {
  Gathered out;
  const PartState& part = walk.part();
  const auto& prepared = walk.edition->features[feature];
  for (std::size_t asked = 0; asked < part.asked.size(); ++asked) {
    if (walk.step(asked).feature != feature) continue;
    const StepState& step = part.steps[asked];
    const Attempt* attempt = deciding(step);
    if (step.status != "done" || !attempt) {
      out.complete = false;
      return out;
    }
    out.steps.push_back(&step);
    out.reject = out.reject || attempt->verdict == "reject";
    out.again = out.again || step.retaken || counted_attempts(step) > 1;
    out.typed = out.typed || attempt->typed;
    out.confirmed = out.confirmed || attempt->confirmed;
    if (step.retaken) out.reason = step.reason;
    add_word(out.readings, attempt->event.empty() ? "this" : attempt->event);
    add_word(out.gauges, attempt->gauge);
    if (prepared.measured) {
      const auto unit = attempt->unit.empty() ? Expected<Unit>(prepared.unit) : Unit::named(attempt->unit);
      if (const auto value = Quantity::parse(attempt->value, *unit)) out.values.push_back(*value);
    }
  }
  return out;
}

void fill_measured(Fact& fact, const checklist::Feature& feature, const PreparedFeature& prepared,
                   const Gathered& gathered) {
  const auto reduced = reduce(prepared.reduction, gathered.values, prepared.limits);
  if (!reduced) return;
  auto [value, unit] = text_for_print(reduced->value, prepared.unit);
  fact.value = value;
  fact.unit = unit;
  const bool own_unit = unit == feature.unit;
  const auto write = [&](const std::optional<Quantity>& quantity) {
    if (!quantity) return std::string();
    if (own_unit) return text_for_print(*quantity, prepared.unit).first;
    const auto other = Unit::named(unit);
    return other ? text_for_print(*quantity, *other).first : std::string();
  };
  fact.nominal = own_unit ? feature.nominal : write(prepared.limits.nominal);
  fact.lower = own_unit ? feature.lower : write(prepared.limits.lower);
  fact.upper = own_unit ? feature.upper : write(prepared.limits.upper);
  fact.verdict = std::string(name(reduced->judgement.verdict));
  if (reduced->judgement.verdict == Verdict::reject) {
    fact.side = std::string(name(reduced->judgement.side));
    fact.by = write(reduced->judgement.by);
  }
  if (gathered.values.size() > 1) {
    fact.least = write(reduced->least);
    fact.greatest = write(reduced->greatest);
    fact.reduction = std::string(name(prepared.reduction));
  }
}

/// The result that this one replaces may have been suspect: measuring again clears it.
void clear_suspect(Draft& draft, const WalkDraft& walk, const PartState& part, const std::string& overruled,
                   const std::string& feature) {
  const auto suspect = draft.states.suspects.find(overruled);
  if (suspect == draft.states.suspects.end()) return;
  auto& mark = add_fact(draft, walk, part, "mark");
  mark.overrules = suspect->second.mark;
  mark.feature = feature;
  mark.verdict = "cleared";
  mark.reason = "measured again";
  mark.gauge = suspect->second.gauge;
  draft.out.cleared.push_back(overruled);
}

/// Each gauge that had a part in a result must know it, for the day on which its master says otherwise.
void tell_gauges(Draft& draft, const WalkDraft& walk, const PartState& part, const std::string& gauges,
                 const std::string& feature, std::size_t n, const std::string& overruled) {
  const auto& lot_name = draft.lot(walk.state.lot).state.lot_name;
  if (!overruled.empty()) forget_result(draft, overruled);
  std::size_t from = 0;
  while (from < gauges.size()) {
    const auto blank = gauges.find(' ', from);
    const std::string id = gauges.substr(from, blank == std::string::npos ? blank : blank - from);
    from = blank == std::string::npos ? gauges.size() : blank + 1;
    if (!draft.states.gauges.contains(id)) continue;
    auto& gauge = draft.gauge(id);
    if (gauge.state.card.setting.master.empty()) continue;
    gauge.change.made.push_back({std::to_string(n), walk.state.lot, lot_name, part.key, feature, walk.state.key,
                                 walk.state.bench, part.serial});
  }
}

}  // namespace

void forget_result(Draft& draft, const std::string& fact) {
  for (const auto& [id, gauge] : draft.states.gauges)
    if (std::any_of(gauge.since_good.begin(), gauge.since_good.end(), [&](const auto& made) { return made.fact == fact; }))
      draft.gauge(id).change.forgotten.push_back(fact);
}

void follow_held(WalkDraft& walk) {
  PartState& part = walk.part();
  bool held = false;
  for (std::size_t asked = 0; asked < part.asked.size() && !held; ++asked) {
    const auto kind = walk.step(asked).kind;
    held = settled(part.steps[asked], kind != checklist::StepKind::reading && kind != checklist::StepKind::capture) == "reject";
  }
  if (held == part.held) return;
  part.held = held;
  (walk.state.standing.in_previous ? walk.change.previous_held : walk.change.held) = held;
}

void settle_feature(Draft& draft, WalkDraft& walk, std::size_t asked, Last& last) {
  const std::size_t index = walk.step(asked).feature;
  const auto gathered = gather(walk, index);
  if (!gathered.complete) return;
  const auto& feature = walk.edition->edition.features[index];
  const auto& prepared = walk.edition->features[index];
  PartState& part = walk.part();
  const auto known = part.results.find(feature.key);
  const std::string overruled = known == part.results.end() ? "" : known->second;
  {
    Fact& fact = add_fact(draft, walk, part, "result");
    fact.overrules = overruled;
    fact.feature = feature.key;
    fact.balloon = feature.balloon;
    fact.feature_name = feature.name;
    fact.feature_class = feature.feature_class;
    fact.step_kind = feature.kind;
    fact.verdict = gathered.reject ? "reject" : "accept";
    if (prepared.measured) fill_measured(fact, feature, prepared, gathered);
    fact.measured_again = gathered.again;
    fact.typed = gathered.typed;
    fact.confirmed = gathered.confirmed;
    fact.reason = gathered.reason;
    fact.readings = gathered.readings;
    fact.gauge = gathered.gauges;
    fact.gauge_kind = feature.gauge_kind;
    if (const auto* gauge = draft.look_at_gauge(gathered.gauges)) fact.master = gauge->card.setting.master;
    if (!feature.tool.empty())
      if (const auto tool = walk.state.tools.find(feature.tool); tool != walk.state.tools.end()) fact.gauge = tool->second;
    last.result_verdict = fact.verdict;
    last.result_value = fact.value;
    last.result_least = fact.least;
    last.result_greatest = fact.greatest;
  }
  const std::size_t n = draft.out.facts.size();
  tell_gauges(draft, walk, part, gathered.gauges, feature.key, n, overruled);
  if (!overruled.empty()) clear_suspect(draft, walk, part, overruled, feature.key);
  part.results[feature.key] = "/" + std::to_string(n);
  const bool previous = walk.state.standing.in_previous;
  (previous ? walk.change.previous_results : walk.change.results)[feature.key] = std::to_string(n);
  follow_held(walk);
}

Last last_of(const WalkDraft& walk, std::size_t asked, const Draft& draft, const std::string& what) {
  const auto& feature = walk.feature(asked);
  const auto& step = walk.step(asked);
  Last last;
  last.what = what;
  last.serial = walk.part().serial;
  last.feature = feature.key;
  last.balloon = feature.balloon;
  last.name = feature.name;
  last.kind = boost::describe::enum_to_string(step.kind, "");
  if (step.place < feature.places.size()) last.place = feature.places[step.place];
  last.unit = feature.unit;
  last.nominal = feature.nominal;
  last.lower = feature.lower;
  last.upper = feature.upper;
  last.decimals = feature.decimals;
  last.edge = feature.edge;
  last.ruler = feature.ruler;
  last.material = feature.material;
  last.utc_us = draft.now().utc_us;
  return last;
}

void say(Draft& draft, WalkDraft& walk, Last last, const std::string& tone) {
  draft.out.what = last.what;
  draft.out.why = last.why;
  draft.out.tone = tone;
  walk.state.standing.last = std::move(last);
  walk.state.standing.since = draft.now();
}

}  // namespace tallystick::walk
