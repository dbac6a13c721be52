// Results whose gauge failed on its master: what is known of them, and how they are measured again.
#include <algorithm>
#include <set>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/draft.hpp"
#include "daemon/walk/view.hpp"

namespace tallystick::walk {

namespace json = boost::json;

ResultMade result_made(const Fact& fact, std::size_t n, std::int64_t serial) {
  ResultMade out;
  out.fact = std::to_string(n);
  out.lot = fact.lot;
  out.lot_name = fact.lot_name;
  out.part = fact.part;
  out.feature = fact.feature;
  out.walk = fact.walk;
  out.bench = fact.bench;
  out.serial = serial;
  out.stage = fact.stage;
  out.size = fact.size;
  out.balloon = fact.balloon;
  out.feature_name = fact.feature_name;
  out.value = fact.value;
  out.unit = fact.unit;
  out.lower = fact.lower;
  out.upper = fact.upper;
  out.verdict = fact.verdict;
  return out;
}

Suspect suspect_of(const ResultMade& made, const GaugeState& gauge, const std::string& why,
                   const Draft& draft) {
  Suspect out;
  out.fact = made.fact;
  out.gauge = gauge.card.id;
  out.why = why;
  out.lot = made.lot;
  out.lot_name = made.lot_name;
  out.part = made.part;
  out.feature = made.feature;
  out.bench = made.bench;
  out.serial = made.serial;
  out.since_utc = utc_text(draft.now().utc_us);
  out.stage = made.stage;
  out.size = made.size;
  out.balloon = made.balloon;
  out.feature_name = made.feature_name;
  out.value = made.value;
  out.unit = made.unit;
  out.lower = made.lower;
  out.upper = made.upper;
  out.verdict = made.verdict;
  return out;
}

Fact mark_about(Draft& draft, const Suspect& suspect) {
  Fact out;
  out.kind = "mark";
  out.gauge = suspect.gauge;
  out.lot = suspect.lot;
  out.lot_name = suspect.lot_name;
  out.part = suspect.part;
  out.serial = std::to_string(suspect.serial);
  out.stage = suspect.stage;
  out.size = suspect.size;
  out.feature = suspect.feature;
  out.balloon = suspect.balloon;
  out.feature_name = suspect.feature_name;
  out.bench = suspect.bench;
  if (const auto lot = draft.states.lots.find(suspect.lot); lot != draft.states.lots.end()) {
    out.family = lot->second.family;
    out.print_revision = lot->second.print_revision;
    out.part_number = lot->second.part_number;
  }
  out.person = draft.person;
  out.person_how = draft.person.empty() ? "" : "name stated, not signed in";
  out.measured_utc = utc_text(draft.now().utc_us);
  out.clock = draft.now().clock;
  return out;
}

void ask_suspects_alone(const Draft& draft, const WalkDraft& walk, const LotDraft& lot, PartState& part) {
  const Claim* claim = lot.claim(claim_key(part.stage, part.serial));
  if (!claim || claim->again.empty()) return;
  const auto wanted = [&](const std::string& feature) {
    return std::find(claim->again.begin(), claim->again.end(), feature) != claim->again.end();
  };
  // A derived result is made anew by all the readings that it draws on.
  std::set<std::size_t> drawn_on;
  for (std::size_t index = 0; index < walk.edition->features.size(); ++index)
    if (wanted(walk.edition->edition.features[index].key))
      for (const auto& input : walk.edition->features[index].inputs)
        drawn_on.insert(input.steps.begin(), input.steps.end());
  std::vector<std::size_t> asked;
  for (const auto index : walk.state.order)
    if (drawn_on.contains(index) ||
        wanted(walk.edition->edition.features[walk.edition->steps[index].feature].key))
      asked.push_back(index);
  if (asked.empty()) return;  // a newer edition has them no more: the part is asked for as a whole
  part.asked = std::move(asked);
  if (part.stage == "first part") part.stage = "in process";  // one feature is no first part
  for (const auto& [fact, suspect] : draft.states.suspects)
    if (suspect.lot == walk.state.lot && suspect.serial == part.serial &&
        stage_group(suspect.stage) == stage_group(part.stage))
      part.suspect_results[suspect.feature] = fact;
}

std::string result_before(const PartState& part, const std::string& feature) {
  if (const auto known = part.results.find(feature); known != part.results.end()) return known->second;
  const auto before = part.suspect_results.find(feature);
  return before == part.suspect_results.end() ? "" : before->second;
}

bool measuring_clears(const Draft& draft, const Suspect& suspect) {
  if (!suspect.decision.empty()) return true;
  const auto lot = draft.states.lots.find(suspect.lot);
  if (lot == draft.states.lots.end()) return true;
  for (const char* group : {"in_process", "final", "after_finish"}) {
    const auto claim = lot->second.claims.find(std::string(group) + "/" + std::to_string(suspect.serial));
    if (claim != lot->second.claims.end() && !claim->second.released_utc.empty()) return false;
  }
  return true;
}

json::array suspect_rows(const States& states) {
  json::array out;
  for (const auto& [fact, suspect] : states.suspects) {
    json::object row = mirror::write<true>(suspect).as_object();
    row["failure"] = suspect.mark.substr(0, suspect.mark.rfind('/'));
    const auto lot = states.lots.find(suspect.lot);
    std::string part_end, disposition, released, order;
    bool being_measured = false;
    if (lot != states.lots.end())
      for (const char* group : {"in_process", "final", "after_finish"}) {
        const auto claim = lot->second.claims.find(std::string(group) + "/" + std::to_string(suspect.serial));
        if (claim == lot->second.claims.end()) continue;
        if (!claim->second.released_utc.empty()) {
          released = claim->second.released_utc;
          order = claim->second.order;
        }
        if (stage_group(suspect.stage) != group) continue;
        part_end = claim->second.end == "given_back" && !claim->second.before.empty() ? claim->second.before
                                                                                      : claim->second.end;
        disposition = claim->second.disposition;
        being_measured = claim->second.end.empty();
      }
    row["family"] = lot == states.lots.end() ? "" : lot->second.family;
    row["lot_closed"] = lot != states.lots.end() && !lot->second.closed_utc.empty();
    row["part_end"] = part_end;
    row["being_measured"] = being_measured;
    row["disposition"] = disposition;
    row["released_utc"] = released;
    row["order"] = order;
    row["customer_note_needed"] = !released.empty();
    json::array decisions{"use_as_is"};
    if (!being_measured) decisions.emplace_back("reject");
    if (!being_measured && suspect.decision.empty()) decisions.emplace_back("measure_again");
    row["decisions"] = std::move(decisions);
    out.push_back(std::move(row));
  }
  return out;
}

}  // namespace tallystick::walk
