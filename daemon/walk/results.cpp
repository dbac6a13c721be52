// What the readings of a feature come to, and the fact that says so.
#include <algorithm>

#include "daemon/walk/draft.hpp"
#include "daemon/walk/working.hpp"

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
  // What is undecided is read again as a reject is: once more may prove it good.
  switch (counted.size()) {
    case 1: return newest.verdict == "accept" ? "accept" : "";
    case 2:
      if (answer) return newest.verdict;
      return newest.verdict == "accept" ? "" : newest.verdict;
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

const Attempt* deciding(const StepState& step) {
  for (auto attempt = step.attempts.rbegin(); attempt != step.attempts.rend(); ++attempt)
    if (!attempt->aside) return &*attempt;
  return nullptr;
}

namespace {

void add_word(std::string& list, const std::string& word) {
  if (word.empty() || (" " + list + " ").find(" " + word + " ") != std::string::npos) return;
  if (!list.empty()) list += ' ';
  list += word;
}

}  // namespace

void ReadingsBehind::add(const StepState& step, const Attempt& attempt) {
  again = again || step.retaken || counted_attempts(step) > 1;
  typed = typed || attempt.typed;
  confirmed = confirmed || attempt.confirmed;
  if (step.retaken) reason = step.reason;
  add_word(readings, attempt.event.empty() ? "this" : attempt.event);
  add_word(gauges, attempt.gauge);
}

namespace {

struct Gathered {
  std::vector<Quantity> values;
  bool complete = true, reject = false;
  ReadingsBehind behind;
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
    out.reject = out.reject || attempt->verdict == "reject";
    out.behind.add(step, *attempt);
    if (prepared.measured) {
      const auto unit = attempt->unit.empty() ? Expected<Unit>(prepared.unit) : Unit::named(attempt->unit);
      if (const auto value = Quantity::parse(attempt->value, *unit)) out.values.push_back(*value);
    }
  }
  return out;
}

/// What is not judged: the value as it was taken, or the least and the greatest of several places.
void fill_taken(Fact& fact, const PreparedFeature& prepared, const Gathered& gathered) {
  if (gathered.values.empty()) return;
  std::tie(fact.value, fact.unit) = text_for_print(gathered.values.front(), prepared.unit);
  fact.verdict.clear();
  if (gathered.values.size() == 1) return;
  fact.value.clear();
  const auto [least, greatest] = std::minmax_element(gathered.values.begin(), gathered.values.end());
  fact.least = text_for_print(*least, prepared.unit).first;
  fact.greatest = text_for_print(*greatest, prepared.unit).first;
}

void fill_measured(Fact& fact, const checklist::Feature& feature, const PreparedFeature& prepared, const std::string& stage,
                   const Gathered& gathered) {
  if (prepared.unjudged) return fill_taken(fact, prepared, gathered);
  const auto reduced = reduce(prepared.reduction, gathered.values, prepared.limits_in(stage), prepared.rule);
  if (!reduced) return;
  judge_fact(fact, feature, prepared, stage, reduced->value, reduced->judgement);
  if (gathered.values.size() < 2) return;
  const auto unit = Unit::named(fact.unit);
  if (!unit) return;
  fact.least = text_for_print(reduced->least, *unit).first;
  fact.greatest = text_for_print(reduced->greatest, *unit).first;
  fact.reduction = std::string(name(prepared.reduction));
}

/// The result that this one replaces may have been suspect: measuring again clears it.
void clear_suspect(Draft& draft, const WalkDraft& walk, const PartState& part, const std::string& overruled,
                   const std::string& feature) {
  const auto suspect = draft.states.suspects.find(overruled);
  if (suspect == draft.states.suspects.end() || !measuring_clears(draft, suspect->second)) return;
  auto& mark = add_fact(draft, walk, part, "mark");
  mark.overrules = suspect->second.mark;
  mark.feature = feature;
  mark.verdict = "cleared";
  mark.reason = "measured again";
  mark.gauge = suspect->second.gauge;
  draft.out.cleared.push_back(overruled);
}

/// Each gauge that had a part in a result must know it, for the day on which its master says otherwise.
void tell_gauges(Draft& draft, const PartState& part, const std::string& gauges, std::size_t n, const std::string& overruled) {
  if (!overruled.empty()) forget_result(draft, overruled);
  std::size_t from = 0;
  while (from < gauges.size()) {
    const auto blank = gauges.find(' ', from);
    const std::string id = gauges.substr(from, blank == std::string::npos ? blank : blank - from);
    from = blank == std::string::npos ? gauges.size() : blank + 1;
    if (!draft.states.gauges.contains(id)) continue;
    auto& gauge = draft.gauge(id);
    if (gauge.state.card.setting.master.empty()) continue;
    gauge.change.made.push_back(result_made(draft.out.facts[n - 1], n, part.serial));
  }
}

}  // namespace

void judge_fact(Fact& fact, const checklist::Feature& feature, const PreparedFeature& prepared, const std::string& stage,
                Quantity value, const Judgement& judgement) {
  auto texts = judged_texts(feature, prepared, stage, value, judgement);
  fact.value = std::move(texts.value);
  fact.unit = std::move(texts.unit);
  fact.nominal = std::move(texts.nominal);
  fact.lower = std::move(texts.lower);
  fact.upper = std::move(texts.upper);
  fact.verdict = std::move(texts.verdict);
  fact.side = std::move(texts.side);
  fact.by = std::move(texts.by);
  fact.uncertainty = std::move(texts.uncertainty);
  fact.conformance = std::move(texts.conformance);
  fact.limits_of = limits_of_stage(feature, stage);
  fact.judging = std::string(name(prepared.rule.method));
  fact.decision = std::string(name(prepared.rule.decision));
}

Fact& add_result(Draft& draft, const WalkDraft& walk, std::size_t index, const std::string& overruled, const ReadingsBehind& behind) {
  const auto& feature = walk.edition->edition.features[index];
  Fact& fact = add_fact(draft, walk, walk.part(), "result");
  fact.overrules = overruled;
  fact.feature = feature.key;
  fact.balloon = feature.balloon;
  fact.feature_name = feature.name;
  fact.feature_class = feature.feature_class;
  fact.step_kind = feature.kind;
  fact.measured_again = behind.again;
  fact.typed = behind.typed;
  fact.confirmed = behind.confirmed;
  fact.reason = behind.reason;
  fact.readings = behind.readings;
  fact.gauge = behind.gauges;
  fact.gauge_kind = feature.gauge_kind;
  if (const auto* gauge = draft.look_at_gauge(behind.gauges)) fact.master = gauge->card.setting.master;
  return fact;
}

void keep_result(Draft& draft, WalkDraft& walk, const std::string& feature, const std::string& gauges, const std::string& overruled) {
  PartState& part = walk.part();
  const std::size_t n = draft.out.facts.size();
  tell_gauges(draft, part, gauges, n, overruled);
  if (!overruled.empty()) clear_suspect(draft, walk, part, overruled, feature);
  part.results[feature] = "/" + std::to_string(n);
  const bool previous = walk.state.standing.in_previous;
  (previous ? walk.change.previous_results : walk.change.results)[feature] = std::to_string(n);
}

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
    const auto verdict = settled(part.steps[asked], kind != checklist::StepKind::reading && kind != checklist::StepKind::capture);
    held = verdict == "reject" || verdict == "undecided";
  }
  for (const auto& [feature, verdict] : part.derived) held = held || verdict != "accept";
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
  const std::string overruled = result_before(part, feature.key);
  {
    Fact& fact = add_result(draft, walk, index, overruled, gathered.behind);
    fact.verdict = gathered.reject ? "reject" : "accept";
    if (prepared.measured) fill_measured(fact, feature, prepared, part.stage, gathered);
    if (!feature.tool.empty())
      if (const auto tool = walk.state.tools.find(feature.tool); tool != walk.state.tools.end()) fact.gauge = tool->second;
    last.result_verdict = fact.verdict;
    last.result_value = fact.value;
    last.result_least = fact.least;
    last.result_greatest = fact.greatest;
  }
  keep_result(draft, walk, feature.key, gathered.behind.gauges, overruled);
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
  const auto limits = limit_texts(feature, walk.part().stage);
  last.lower = limits.lower;
  last.upper = limits.upper;
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
