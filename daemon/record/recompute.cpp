#include "daemon/record/recompute.hpp"

#include <algorithm>
#include <cmath>
#include <sstream>
#include <unordered_map>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/reader.hpp"
#include "daemon/walk/decide.hpp"
#include "daemon/walk/working.hpp"

namespace tallystick::record {
namespace {

constexpr std::size_t most_findings = 1000;
constexpr double most_relative = 1e-12;

/// What counted at a step, as the journal holds it.
struct Counted {
  std::string value, unit;   ///< unit empty: the print's
  std::optional<derive::SweepFigures> sweep;
  std::string capture;       ///< SHA-256 of its samples
  std::optional<Quantity> came;   ///< what the gauge sent, as a size; nothing where a person typed or confirmed it
};

bool same_number(const std::string& a, const std::string& b) {
  if (a == b) return true;
  if (a.empty() || b.empty()) return false;
  const double left = std::strtod(a.c_str(), nullptr), right = std::strtod(b.c_str(), nullptr);
  return std::abs(left - right) <= most_relative * std::max(std::abs(left), std::abs(right));
}

bool same_sweep(const derive::SweepFigures& a, const derive::SweepFigures& b) {
  return a.samples == b.samples && a.error == b.error && same_number(a.span, b.span) &&
         same_number(a.eccentricity, b.eccentricity) && same_number(a.direction, b.direction) &&
         same_number(a.roundness, b.roundness) && same_number(a.minimum_zone, b.minimum_zone) &&
         same_number(a.circumscribed, b.circumscribed) && same_number(a.inscribed, b.inscribed);
}

class Recomputer {
 public:
  explicit Recomputer(Reader& reader) : reader_(reader) {
    report_.rules = walk::rules_version;
  }

  Expected<RecomputeReport> run(const RecomputeOptions& options);

 private:
  void find(const char* code, std::string where, std::string what);
  void event(const Event& event);
  void note_cards(const walk::Outcome& outcome);
  void note_attempts(const Event& event, const walk::Outcome& outcome);
  void hold_against_gauge(const std::string& where, const Counted& counted, Quantity value);
  std::optional<Quantity> sent(const Event& event);
  void result(const Event& event, std::size_t n, const Fact& fact);
  void measured(const std::string& where, const Event& event, const Fact& fact, const checklist::Feature& feature,
                const walk::PreparedFeature& prepared);
  void derived(const std::string& where, const Event& event, const Fact& fact, const walk::PreparedEdition& edition,
               std::size_t index);
  void sweeps(const std::string& where, const Event& event, const walk::PreparedEdition& edition,
              const walk::WorkedInput& input);
  void compare(const std::string& where, const Fact& fact, const walk::JudgedTexts& again);
  const walk::PreparedEdition* edition(const std::string& sha, const std::string& where);
  const Counted* counted(const Event& event, const std::string& key) const;

  Reader& reader_;
  RecomputeReport report_;
  std::unordered_map<std::string, Counted> counted_;
  std::map<std::string, shop::GaugeCard> cards_;
  std::map<std::string, std::shared_ptr<const walk::PreparedEdition>> editions_;
};

void Recomputer::find(const char* code, std::string where, std::string what) {
  ++report_.finding_count;
  if (report_.findings.size() < most_findings) report_.findings.push_back({code, std::move(where), std::move(what), false});
}

void Recomputer::note_cards(const walk::Outcome& outcome) {
  for (const auto& [id, change] : outcome.gauges)
    if (change.card) cards_[id] = *change.card;
}

/// The size that the gauge sent, its master added where it reads differences. Nothing where the event has no reading, or
/// was confirmed or taken from another one.
std::optional<Quantity> Recomputer::sent(const Event& event) {
  boost::json::error_code code;
  const auto input = boost::json::parse(event.content.input, code);
  if (code || !input.is_object()) return {};
  const auto* reading = input.as_object().if_contains("reading");
  if (!reading || !reading->is_object()) return {};
  const auto member_of = [&](const char* member) {
    const auto* value = reading->as_object().if_contains(member);
    return value && value->is_string() ? std::string(value->as_string()) : std::string();
  };
  const auto unit = Unit::named(member_of("unit"));
  if (!unit) return {};
  const auto value = Quantity::parse(member_of("value"), *unit);
  if (!value) return {};
  const auto card = cards_.find(event.content.gauge);
  if (card == cards_.end() || card->second.reads != "difference") return *value;
  const auto card_unit = Unit::named(card->second.unit);
  const auto master = card_unit ? Quantity::parse(card->second.setting.size, *card_unit) : fail("", "");
  if (!master) return {};
  const auto sum = add(*master, *value);
  return sum ? std::optional<Quantity>(*sum) : std::nullopt;
}

void Recomputer::hold_against_gauge(const std::string& where, const Counted& counted, Quantity value) {
  if (!counted.came) return;
  ++report_.readings;
  if (!convertible(counted.came->unit(), value.unit()) || *counted.came != value)
    find("reading_differs", where, "counted as " + value.text() + " " + std::string(value.unit().name()) + ", the gauge sent " +
                                       counted.came->text() + " " + std::string(counted.came->unit().name()));
}

void Recomputer::note_attempts(const Event& event, const walk::Outcome& outcome) {
  const auto note = [&](const walk::StepState& step) {
    for (const auto& attempt : step.attempts) {
      // An attempt without an event was made by this one.
      if (!attempt.event.empty() && attempt.event != "this") continue;
      Counted one{attempt.value, attempt.unit, attempt.sweep, "", {}};
      if (outcome.capture) one.capture = outcome.capture->sha256;
      if (event.content.kind == "reading" && !attempt.confirmed) one.came = sent(event);
      counted_[text(event.key)] = std::move(one);
    }
  };
  for (const auto& [key, change] : outcome.walks) {
    for (const auto& [index, step] : change.steps) note(step);
    for (const auto& [index, step] : change.previous_steps) note(step);
    if (change.previous)
      for (const auto& step : change.previous->steps) note(step);
  }
}

const Counted* Recomputer::counted(const Event& event, const std::string& key) const {
  const auto found = counted_.find(key == "this" ? text(event.key) : key);
  return found == counted_.end() ? nullptr : &found->second;
}

const walk::PreparedEdition* Recomputer::edition(const std::string& sha, const std::string& where) {
  auto& known = editions_[sha];
  if (known) return known.get();
  const auto blob = reader_.blob(sha);
  if (!blob || !*blob) {
    find("edition_missing", where, "the edition " + sha + " is not there");
    return nullptr;
  }
  auto read = checklist::edition_from((*blob)->bytes);
  auto prepared = read ? walk::prepare(std::move(*read), sha) : tl::unexpected(read.error());
  if (!prepared) {
    find("cannot_work_out", where, "the edition " + sha + " cannot be used: " + prepared.error().what);
    return nullptr;
  }
  known = *prepared;
  return known.get();
}

void Recomputer::compare(const std::string& where, const Fact& fact, const walk::JudgedTexts& again) {
  const auto differs = [&](const char* member, const std::string& kept, const std::string& now) {
    if (kept != now) find("result_differs", where, std::string(member) + ": kept \"" + kept + "\", worked out \"" + now + "\"");
  };
  differs("value", fact.value, again.value);
  differs("unit", fact.unit, again.unit);
  differs("lower", fact.lower, again.lower);
  differs("upper", fact.upper, again.upper);
  differs("verdict", fact.verdict, again.verdict);
  differs("side", fact.side, again.side);
  differs("by", fact.by, again.by);
  differs("uncertainty", fact.uncertainty, again.uncertainty);
  // Six decimals of a probability: the last may differ between libraries of mathematics.
  if (std::abs(std::strtod(fact.conformance.c_str(), nullptr) - std::strtod(again.conformance.c_str(), nullptr)) > 1.5e-6)
    differs("conformance", fact.conformance, again.conformance);
}

void Recomputer::measured(const std::string& where, const Event& event, const Fact& fact, const checklist::Feature& feature,
                          const walk::PreparedFeature& prepared) {
  std::vector<Quantity> values;
  std::istringstream keys(fact.readings);
  for (std::string key; keys >> key;) {
    const auto* one = counted(event, key);
    if (!one) return find("cannot_work_out", where, "the reading " + key + " is not in the record");
    const auto unit = one->unit.empty() ? Expected<Unit>(prepared.unit) : Unit::named(one->unit);
    const auto value = unit ? Quantity::parse(one->value, *unit) : tl::unexpected(unit.error());
    if (!value) return find("cannot_work_out", where, value.error().what);
    hold_against_gauge(where, *one, *value);
    values.push_back(*value);
  }
  if (values.empty()) return find("cannot_work_out", where, "the result names no reading");
  if (prepared.unjudged) {
    if (!fact.verdict.empty()) find("result_differs", where, "a verdict where nothing is judged");
    return;
  }
  const auto reduced = reduce(prepared.reduction, values, prepared.limits_in(fact.stage), prepared.rule);
  if (!reduced) return find("cannot_work_out", where, reduced.error().what);
  compare(where, fact, walk::judged_texts(feature, prepared, fact.stage, reduced->value, reduced->judgement));
}

void Recomputer::sweeps(const std::string& where, const Event& event, const walk::PreparedEdition& edition,
                        const walk::WorkedInput& input) {
  for (std::size_t n = 0; n < input.sweeps.size(); ++n) {
    const auto* one = n < input.readings.size() ? counted(event, input.readings[n]) : nullptr;
    const auto blob = one && !one->capture.empty() ? reader_.blob(one->capture) : Expected<std::optional<Attachment>>();
    if (!one || !blob || !*blob) {
      find("capture_missing", where, "the samples behind \"" + input.name + "\" are not there");
      continue;
    }
    const auto kept = capture_from((*blob)->bytes);
    if (!kept) {
      find("cannot_work_out", where, kept.error().what);
      continue;
    }
    const auto key = input.of[n].substr(0, input.of[n].find(" / "));
    double turns = 0;
    for (std::size_t f = 0; f < edition.features.size(); ++f)
      if (edition.edition.features[f].key == key) turns = edition.features[f].turns;
    ++report_.sweeps;
    if (!same_sweep(input.sweeps[n], walk::sweep_figures_of(*kept, turns)))
      find("sweep_differs", where, "the samples of \"" + input.of[n] + "\" come to other figures than were kept");
  }
}

void Recomputer::derived(const std::string& where, const Event& event, const Fact& fact, const walk::PreparedEdition& edition,
                         std::size_t index) {
  const auto& feature = edition.edition.features[index];
  const auto& prepared = edition.features[index];
  const auto kept = walk::working_from(fact.working);
  if (!kept) return find("cannot_work_out", where, "its working cannot be read: " + kept.error().what);
  ++report_.derived;
  for (const auto& input : kept->inputs) {
    sweeps(where, event, edition, input);
    for (std::size_t n = 0; n < input.values.size() && !input.of.empty(); ++n) {
      const auto* one = n < input.readings.size() ? counted(event, input.readings[n]) : nullptr;
      if (!one || one->value != input.values[n])
        find("working_differs", where, "input \"" + input.name + "\" is " + input.values[n] + ", the reading was " +
                                           (one ? one->value : std::string("not kept")));
    }
  }
  const auto again = walk::work_out(feature, prepared, *kept);
  if (!same_number(kept->unrounded, again.working.unrounded) || kept->error != again.working.error)
    find("working_differs", where, "unrounded: kept " + kept->unrounded + kept->error + ", worked out " +
                                       again.working.unrounded + again.working.error);
  if (!again.value) {
    if (fact.verdict != "undecided") find("result_differs", where, "a verdict where nothing can be worked out");
    return;
  }
  const auto judgement = prepared.judge_in(fact.stage, *again.value);
  if (!judgement) return find("cannot_work_out", where, judgement.error().what);
  compare(where, fact, walk::judged_texts(feature, prepared, fact.stage, *again.value, *judgement));
}

void Recomputer::result(const Event& event, std::size_t n, const Fact& fact) {
  const auto where = text(event.key) + "/" + std::to_string(n);
  const auto* known = edition(fact.edition, where);
  if (!known) return;
  for (std::size_t f = 0; f < known->edition.features.size(); ++f) {
    const auto& feature = known->edition.features[f];
    if (feature.key != fact.feature) continue;
    ++report_.results;
    if (feature.kind == "derived") return derived(where, event, fact, *known, f);
    if (known->features[f].measured) return measured(where, event, fact, feature, known->features[f]);
    return;   // an answer is what it is
  }
  find("cannot_work_out", where, "its edition has no feature \"" + fact.feature + "\"");
}

void Recomputer::event(const Event& event) {
  report_.greatest_rules = std::max(report_.greatest_rules, event.content.rules);
  report_.least_rules = report_.least_rules == 0 ? event.content.rules : std::min(report_.least_rules, event.content.rules);
  const auto outcome = mirror::parse<walk::Outcome>(event.content.outcome);
  if (!outcome) return;   // not the walk's: nothing in it was judged
  note_cards(*outcome);
  note_attempts(event, *outcome);
  for (std::size_t n = 0; n < outcome->facts.size(); ++n)
    if (outcome->facts[n].kind == "result") result(event, n + 1, outcome->facts[n]);
}

Expected<RecomputeReport> Recomputer::run(const RecomputeOptions& options) {
  Cursor cursor;
  std::uint64_t done = 0;
  for (;;) {
    auto page = reader_.events_after(cursor, options.events_a_read);
    if (!page) return tl::unexpected(page.error());
    for (const auto& one : page->events) event(one);
    done += page->events.size();
    cursor = page->next;
    if (options.progress && !options.progress(done)) {
      report_.stopped = true;
      return report_;
    }
    if (!page->more) return report_;
  }
}

}  // namespace

Expected<RecomputeReport> recompute(const std::filesystem::path& journal, const RecomputeOptions& options,
                                    const std::string& vfs) {
  auto reader = Reader::open_file(journal, vfs);
  if (!reader) return tl::unexpected(reader.error());
  return Recomputer(**reader).run(options);
}

}  // namespace tallystick::record
