#include "daemon/walk/dry_run.hpp"

#include <algorithm>
#include <set>

namespace tallystick::walk {

namespace {

constexpr const char* journal_of_its_own = "00000000000000000000000000000000";
constexpr const char* not_given = "not given";
constexpr std::int64_t second_ns = 1'000'000'000;

class Trier {
 public:
  Trier(const std::vector<shop::GaugeCard>& gauges, std::string bench) : bench_(std::move(bench)) {
    words_.pass_reasons = {not_given};
    words_.benches = {bench_};
    context_.editions = &editions_;
    context_.words = &words_;
    context_.candidates = &candidates_;
    context_.told = &told_;
    auto& own = states_.benches[bench_];
    own.bench = bench_;
    own.person = "dry run";
    own.displays = {"dry run"};
    for (auto card : gauges) {
      card.setting = {};  // as if each had just been set
      auto& gauge = states_.gauges[card.id];
      gauge.card = std::move(card);
      gauge.fitness = "fit";
    }
  }

  Done publish(const checklist::Edition& edition) {
    const auto sha = checklist::sha256_hex(to_json_text(edition));
    auto prepared = prepare(edition, sha);
    if (!prepared) return tl::unexpected(prepared.error());
    editions_[sha] = *prepared;
    states_.editions[sha] = {
        sha, edition.family, edition.size, edition.print_revision, edition.part_number, edition.number,
        "",  false};
    for (const auto& feature : edition.features)
      if (!feature.tool.empty()) words_.tools.push_back({"dry-run", feature.tool, true, ""});
    return {};
  }

  Done begin(const checklist::Edition& edition, const std::string& stage) {
    LotState lot;
    lot.key = next_key();
    lot.lot_name = "dry run";
    lot.family = edition.family;
    lot.size = edition.size;
    lot.print_revision = edition.print_revision;
    const auto lot_key = lot.key;
    states_.lots[lot_key] = std::move(lot);
    auto begun = run("begin_walk", {{"lot", lot_key}, {"stage", stage}});
    if (!begun) return tl::unexpected(begun.error());
    walk_ = states_.benches.at(bench_).walk;
    std::set<std::string> kinds;
    for (const auto& feature : edition.features)
      if (!feature.tool.empty() && kinds.insert(feature.tool).second)
        if (auto stated = run("state_tool", {{"tool", feature.tool}, {"id", "dry-run"}}); !stated)
          return tl::unexpected(stated.error());
    return {};
  }

  /// One command, decided and copied. Time goes on by five seconds, and what is asked for counts as told
  /// since three.
  Expected<Outcome> run(const std::string& kind, boost::json::object body) {
    now_.steady_ns += 5 * second_ns;
    now_.utc_us += 5'000'000;
    Stamp told = now_;
    told.steady_ns -= 3 * second_ns;
    told.utc_us -= 3'000'000;
    told_.clear();
    if (const auto* active = walk()) told_[present_ask(*active)] = told;
    Input input;
    input.kind = kind;
    input.stamp = now_;
    input.bench = bench_;
    input.body = std::move(body);
    auto decision = decide(states_, input, context_);
    if (!decision) return tl::unexpected(decision.error());
    evolve(states_, decision->outcome, {journal_of_its_own, ++seq_}, now_);
    return std::move(decision->outcome);
  }

  const WalkState* walk() const {
    const auto found = states_.walks.find(walk_);
    return found == states_.walks.end() ? nullptr : &found->second;
  }
  const PreparedEdition* edition() const { return walk() ? edition_of(*walk(), context_) : nullptr; }
  const States& states() const { return states_; }
  const Context& context() const { return context_; }

 private:
  std::string next_key() { return text(Key{journal_of_its_own, ++seq_}); }

  std::string bench_, walk_;
  States states_;
  Catalogue editions_;
  ShopWords words_;
  std::vector<Candidate> candidates_;
  std::map<std::string, Stamp> told_;
  Context context_;
  Stamp now_{0, 1000 * second_ns, "dry run", "trusted"};
  std::uint64_t seq_ = 0;
};

const DryGiven* given_for(const std::vector<DryGiven>& given, const std::string& feature,
                          const std::string& place) {
  const DryGiven* any = nullptr;
  for (const auto& one : given) {
    if (one.feature != feature || one.values.empty()) continue;
    if (one.place == place) return &one;
    if (one.place.empty()) any = &one;
  }
  return any;
}

/// The step that is asked for now, as it is before anything is given.
DryStep asked_step(const Trier& trier) {
  const auto& walk = *trier.walk();
  const auto& prepared = *trier.edition();
  const std::size_t index = walk.part->asked[walk.standing.pointer];
  const Step& step = prepared.steps[index];
  const auto& feature = prepared.edition.features[step.feature];
  DryStep out;
  out.feature = feature.key;
  out.balloon = feature.balloon;
  out.name = feature.name;
  out.place = step.place < feature.places.size() ? feature.places[step.place] : "";
  out.kind = boost::describe::enum_to_string(step.kind, "");
  out.unit = feature.unit;
  const auto limits = limit_texts(feature, walk.part->stage);
  out.lower = limits.lower;
  out.upper = limits.upper;
  out.gauges = serving_gauges(trier.states(), trier.context(), walk, prepared, index);
  return out;
}

void tell(DryStep& step, const Outcome& outcome, const std::optional<Last>& last,
          const std::optional<Hold>& hold) {
  if (hold && outcome.what == "held") {
    step.hold = hold->kind;
    step.fits_size = hold->fits_size;
  }
  step.what = outcome.what;
  step.why = outcome.why;
  if (last) {
    step.verdict = last->verdict;
    step.side = last->side;
    step.by = last->by;
    step.stands = last->stands;
    step.result = last->result_verdict;
    step.result_value = last->result_value;
  }
}

std::optional<Last> last_of(const Trier& trier) {
  const auto* walk = trier.walk();
  return walk ? walk->standing.last : std::nullopt;
}

std::optional<Hold> hold_of(const Trier& trier) {
  const auto* walk = trier.walk();
  return walk ? walk->standing.hold : std::nullopt;
}

/// Goes on from a hold as a person would who means what was typed; nothing where the walk cannot go on.
Expected<DryStep> out_of_hold(Trier& trier, DryStep step) {
  const Hold hold = *trier.walk()->standing.hold;
  step.hold = hold.kind;
  step.fits_size = hold.fits_size;
  if (hold.hard) {
    auto lifted = trier.run("lift_hold", {{"person", "dry run, second"}, {"reason", not_given}});
    if (!lifted) return tl::unexpected(lifted.error());
    step.what = "held";
    return step;
  }
  const bool value_or_size = hold.kind == "value" || hold.kind == "size";
  auto outcome = trier.run("act", {{"action", value_or_size ? "not_good" : "again"}});
  if (!outcome) return tl::unexpected(outcome.error());
  tell(step, *outcome, last_of(trier), hold_of(trier));
  return step;
}

Expected<DryStep> one_step(Trier& trier, const std::vector<DryGiven>& given,
                           std::map<std::string, std::size_t>& used) {
  DryStep step = asked_step(trier);
  const bool measured = !step.unit.empty();
  const auto* one = given_for(given, step.feature, step.place);
  if (const auto& hold = trier.walk()->standing.hold) {
    // The next value given is the right part in the hand, or the right place; else it was meant as it stands.
    const bool another = one && measured && !hold->hard &&
                         used[step.feature + "/" + step.place + "/" + step.kind] < one->values.size();
    if (!another) return out_of_hold(trier, std::move(step));
  }
  Expected<Outcome> outcome;
  if (!one) {
    outcome = trier.run("act", {{"action", "not_good"}, {"reason", not_given}});
  } else {
    auto& next = used[step.feature + "/" + step.place + "/" + step.kind];
    step.given = one->values[std::min(next++, one->values.size() - 1)];
    if (measured) {
      outcome = trier.run("type_value", {{"value", step.given}, {"unit", one->unit}});
    } else if (step.given == "good" || step.given == "not_good") {
      outcome = trier.run("act", {{"action", step.given}});
    } else {
      return fail("wrong_shape", "expected good or not_good, found " + quoted(step.given), step.feature);
    }
  }
  if (!outcome) {
    auto error = outcome.error();
    error.where = step.feature + (error.where.empty() ? "" : ", " + error.where);
    return tl::unexpected(std::move(error));
  }
  tell(step, *outcome, last_of(trier), hold_of(trier));
  return step;
}

/// A member, a check or a look that nobody answers cannot be passed over at the bench; here the walk ends at
/// it.
bool cannot_pass(const Trier& trier, const std::vector<DryGiven>& given) {
  const auto step = asked_step(trier);
  return step.unit.empty() && !given_for(given, step.feature, step.place);
}

}  // namespace

Expected<DryRun> dry_run(const checklist::Edition& edition, const std::vector<checklist::Edition>& others,
                         const std::vector<shop::GaugeCard>& gauges, const std::string& bench,
                         const std::string& stage, const std::vector<DryGiven>& given) {
  for (const auto& one : given)
    if (std::none_of(edition.features.begin(), edition.features.end(),
                     [&](const auto& f) { return f.key == one.feature; }))
      return fail("unknown_feature", "size " + edition.size + " has no feature " + quoted(one.feature),
                  "values");
  Trier trier(gauges, bench);
  for (const auto& other : others)
    if (other.size != edition.size)
      if (auto done = trier.publish(other); !done) return tl::unexpected(done.error());
  if (auto done = trier.publish(edition); !done) return tl::unexpected(done.error());
  if (auto done = trier.begin(edition, stage); !done) return tl::unexpected(done.error());
  DryRun out{edition.family, edition.size, edition.print_revision, stage, bench, {}, "incomplete", {}};
  std::set<std::string> asked;
  std::map<std::string, std::size_t> used;
  // Each step takes at most three readings and a hold for each: more would be a walk that does not end.
  for (std::size_t count = 0; count < 8 * (trier.edition() ? trier.edition()->steps.size() : 0); ++count) {
    const auto* walk = trier.walk();
    if (!walk || !walk->part || walk->part->asked.empty()) break;
    if (cannot_pass(trier, given) && !walk->standing.hold) {
      auto step = asked_step(trier);
      asked.insert(step.feature);
      step.what = "not_answered";
      out.steps.push_back(std::move(step));
      return out;
    }
    auto step = one_step(trier, given, used);
    if (!step) return tl::unexpected(step.error());
    asked.insert(step->feature);
    out.steps.push_back(std::move(*step));
  }
  if (const auto* walk = trier.walk(); walk && walk->previous) out.end = walk->previous->end;
  for (const auto& one : given)
    if (!asked.contains(one.feature)) out.not_asked.push_back(one.feature);
  return out;
}

}  // namespace tallystick::walk
