// What is decided about suspect results: used as they are, to be measured again, rejected.
#include <algorithm>
#include <set>

#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

constexpr std::size_t most_at_once = 1000;

struct Wanted {
  std::string decision, person, reason, note, customer;
  std::vector<std::string> results;
};

/// The decision in the words that its fact has.
std::string in_words(const std::string& decision) {
  return decision == "use_as_is"       ? "use as is"
         : decision == "measure_again" ? "to be measured again"
                                       : "rejected";
}

Expected<std::vector<std::string>> results_of(const Input& input) {
  const auto* list = input.body.if_contains("results");
  const auto* array = list ? list->if_array() : nullptr;
  if (!array || array->empty() || array->size() > most_at_once)
    return fail("wrong_shape",
                "\"results\" must name 1 to " + std::to_string(most_at_once) + " suspect results", "results",
                "GET /api/v1/suspects lists them: member fact");
  std::set<std::string> out;
  for (const auto& each : *array) {
    if (!each.is_string()) return fail("wrong_shape", "a result is named by its key, a text", "results");
    out.emplace(each.as_string());
  }
  return std::vector<std::string>(out.begin(), out.end());
}

Expected<Wanted> wanted_of(const Draft& draft) {
  Wanted out;
  for (const auto& [member, target, needed] :
       std::initializer_list<std::tuple<const char*, std::string*, bool>>{
           {"decision", &out.decision, true},
           {"person", &out.person, true},
           {"reason", &out.reason, true},
           {"note", &out.note, false},
           {"customer", &out.customer, false}}) {
    auto text = body_text(draft.input, member, needed);
    if (!text) return tl::unexpected(text.error());
    *target = *text;
  }
  auto results = results_of(draft.input);
  if (!results) return tl::unexpected(results.error());
  out.results = std::move(*results);
  if (out.decision != "use_as_is" && out.decision != "measure_again" && out.decision != "reject")
    return fail("wrong_shape", "no decision " + quoted(out.decision), "decision",
                "use_as_is, measure_again or reject");
  if (out.person.empty()) return fail("wrong_shape", "a decision needs a name", "person");
  const auto& reasons = draft.context.words->suspect_reasons;
  if (std::find(reasons.begin(), reasons.end(), out.reason) == reasons.end())
    return fail("unknown_reason", quoted(out.reason) + " is not in the shop's list of reasons", "reason",
                "one of [reasons] suspect of the configuration");
  if (out.decision == "use_as_is" && out.note.empty())
    return fail("wrong_shape", "a suspect result is used as it is only with a note on why that is right",
                "note");
  return out;
}

std::string named(const Suspect& suspect) {
  return "part " + std::to_string(suspect.serial) + " of lot " + suspect.lot_name + ", " + suspect.feature;
}

void add_once(std::vector<std::string>& list, const std::string& item) {
  if (std::find(list.begin(), list.end(), item) == list.end()) list.push_back(item);
}

/// What stands in the way of deciding so about this result.
Done may_be_decided(const LotDraft& lot, const Suspect& suspect, const Wanted& wanted) {
  if (const auto released = released_at(lot, suspect.serial); !released.empty() && wanted.customer.empty())
    return fail("customer_note_missing", named(suspect) + ": the part was released at " + released,
                "customer", "say in \"customer\" what the customer was told, by whom and when");
  if (wanted.decision == "use_as_is") return {};
  const Claim* claim = lot.claim(claim_key(suspect.stage, suspect.serial));
  if (claim && claim->end.empty())
    return fail("not_now", named(suspect) + ": the part is being measured at " + claim->bench, suspect.fact,
                "measure it again there, or end the part first");
  if (wanted.decision == "measure_again" && !suspect.decision.empty())
    return fail("not_now", named(suspect) + " waits to be measured again already", suspect.fact);
  return {};
}

/// The part is the lot's again, for this feature alone.
void give_back_for(LotDraft& lot, const Suspect& suspect) {
  auto& claim = lot.write(claim_key(suspect.stage, suspect.serial));
  if (claim.again.empty()) {
    claim.before = claim.end;
    if ((claim.end == "rejected" || claim.end == "undecided") && claim.rejected.empty() && claim.rejected_by_decision.empty())
      claim.rejected = {"?"};
  }
  add_once(claim.again, suspect.feature);
  claim.end = "given_back";
}

/// Nothing of this feature is to be measured again any more.
void ask_no_more(LotDraft& lot, const Suspect& suspect) {
  const auto key = claim_key(suspect.stage, suspect.serial);
  const Claim* known = lot.claim(key);
  if (!known || known->again.empty()) return;
  auto& claim = lot.write(key);
  std::erase(claim.again, suspect.feature);
  if (claim.again.empty() && claim.end == "given_back") claim.end = claim.before;
}

void reject_result(LotDraft& lot, const Suspect& suspect) {
  const auto key = claim_key(suspect.stage, suspect.serial);
  if (!lot.claim(key)) return;
  auto& claim = lot.write(key);
  add_once(claim.rejected_by_decision, suspect.feature);
  (claim.end == "given_back" ? claim.before : claim.end) = "rejected";
  claim.disposition.clear();  // what was decided before did not know of it
}

void write_facts(Draft& draft, const Suspect& suspect, const Wanted& wanted) {
  const std::string note = wanted.customer.empty() ? wanted.note
                                                   : wanted.note + (wanted.note.empty() ? "" : " ") +
                                                         "(customer: " + wanted.customer + ")";
  Fact fact = mark_about(draft, suspect);
  fact.reason = in_words(wanted.decision) + ": " + wanted.reason;
  fact.note = note;
  if (wanted.decision == "measure_again") {  // the mark stands until a new result ends it
    fact.kind = "disposition";
    draft.out.facts.push_back(std::move(fact));
    return;
  }
  fact.verdict = "cleared";
  fact.overrules = suspect.mark;
  draft.out.facts.push_back(fact);
  if (wanted.decision != "reject") return;
  fact.kind = "correction";
  fact.verdict = "reject";
  fact.overrules = suspect.fact;
  fact.value = suspect.value;
  fact.unit = suspect.unit;
  fact.lower = suspect.lower;
  fact.upper = suspect.upper;
  draft.out.facts.push_back(std::move(fact));
}

/// Whoever has no part left and could measure it goes on at once.
void wake_walks(Draft& draft, const std::set<std::string>& lots) {
  for (const auto& [key, walk] : draft.states.walks) {
    if (!lots.contains(walk.lot) || !walk.standing.no_part_left || walk.standing.life != "active") continue;
    auto& waiting = draft.walk(key);
    if (waiting.edition) begin_next_part(draft, waiting, false);
  }
}

}  // namespace

Done decide_suspect_command(Draft& draft) {
  const auto wanted = wanted_of(draft);
  if (!wanted) return tl::unexpected(wanted.error());
  draft.person = wanted->person;
  for (const auto& result : wanted->results) {
    const auto suspect = draft.states.suspects.find(result);
    if (suspect == draft.states.suspects.end())
      return fail("unknown_suspect", "result " + result + " does not stand suspect", "results",
                  "somebody has decided, or it was measured again: look at the list");
    if (!draft.states.lots.contains(suspect->second.lot)) continue;
    if (auto done = may_be_decided(draft.lot(suspect->second.lot), suspect->second, *wanted); !done)
      return done;
  }
  std::set<std::string> lots;
  for (const auto& result : wanted->results) {
    const auto& suspect = draft.states.suspects.at(result);
    write_facts(draft, suspect, *wanted);
    auto* lot = draft.states.lots.contains(suspect.lot) ? &draft.lot(suspect.lot) : nullptr;
    if (wanted->decision == "measure_again") {
      if (lot) give_back_for(*lot, suspect);
      Suspect decided = suspect;
      decided.decision = wanted->decision;
      decided.decided_by = wanted->person;
      decided.decided_utc = utc_text(draft.now().utc_us);
      draft.out.decided[result] = std::move(decided);
      lots.insert(suspect.lot);
      continue;
    }
    if (lot) ask_no_more(*lot, suspect);
    if (lot && wanted->decision == "reject") reject_result(*lot, suspect);
    draft.out.cleared.push_back(result);
  }
  if (lots.size() == 1) draft.about_lot = *lots.begin();
  wake_walks(draft, lots);
  draft.out.what = "suspect_decided";
  draft.out.why = wanted->decision;
  draft.out.answer = {{"decided", wanted->results.size()}, {"decision", wanted->decision}};
  return {};
}

}  // namespace tallystick::walk
