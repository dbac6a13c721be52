#include "tests/simulated/oracles.hpp"

#include <algorithm>
#include <optional>
#include <sstream>
#include <tuple>

namespace tallystick::simulated {

namespace {

using Complaints = std::vector<std::string>;

std::vector<std::string> words(const std::string& text) {
  std::istringstream in(text);
  std::vector<std::string> out;
  for (std::string word; in >> word;) out.push_back(word);
  return out;
}

std::string what_of(const Entry& entry) { return text_at(entry.outcome, "what"); }

bool is_reading(const Entry& entry) { return entry.kind == "reading" || entry.kind == "capture_ended"; }

json::array facts_of(const Entry& entry) {
  const auto facts = at(entry.outcome, "facts");
  return facts.is_array() ? facts.as_array() : json::array();
}

const Sent* source_of(const House& house, const Entry& entry) {
  for (const auto& sent : house.sent)
    if (sent.steady_ns == entry.steady_ns && sent.boot == entry.boot && sent.gauge == entry.gauge && sent.value + "\r\n" == entry.raw) return &sent;
  return nullptr;
}

/// One reading or answer that decided a result.
struct Deciding {
  Millionths value = 0;
  bool answer = false, good = false;
  const Sent* sent = nullptr;   ///< null: typed, or an answer
};

class ResultCheck {
 public:
  ResultCheck(House& house, const Scenario& scenario) : house_(house), scenario_(scenario) {
    const auto& journal = house.journal();
    for (std::size_t n = 0; n < journal.size(); ++n) index_[journal[n].key] = n;
  }

  Complaints run() {
    for (const auto& entry : house_.journal())
      for (const auto& fact : facts_of(entry))
        if (text_at(fact, "kind") == "result") check(entry, fact);
    return std::move(complaints_);
  }

 private:
  void complain(const Entry& entry, const json::value& fact, const std::string& what) {
    complaints_.push_back(what + ": " + entry.key.substr(33) + " part " + text_at(fact, "serial") + " " + text_at(fact, "feature") + " " +
                          text_at(fact, "verdict") + " of readings " + text_at(fact, "readings"));
  }

  std::optional<Deciding> deciding(const std::string& key, const std::string& feature) const {
    const auto found = index_.find(key);
    if (found == index_.end()) return {};
    const Entry* entry = &house_.journal()[found->second];
    Deciding out;
    if (entry->kind == "act" && what_of(*entry) == "counted") {
      // "It really is so": the value is that of the reading which this bench last held.
      for (auto n = found->second; n-- > 0;) {
        const auto& earlier = house_.journal()[n];
        if (earlier.bench == entry->bench && what_of(earlier) == "held") {
          entry = &earlier;
          break;
        }
      }
    }
    if (entry->kind == "act") {
      out.answer = true;
      out.good = text_at(entry->input, "body.action") == "good";
      return out;
    }
    if (entry->kind == "type_value") {
      out.value = millionths(text_at(entry->input, "body.value"));
      return out;
    }
    out.sent = source_of(house_, *entry);
    if (!out.sent) return {};
    out.value = millionths(out.sent->value);
    if (print_of(scenario_, feature).gauge_kind == "bore-gauge") out.value += millionths("25.002");
    return out;
  }

  void check(const Entry& entry, const json::value& fact) {
    const auto& print = print_of(scenario_, text_at(fact, "feature"));
    const auto keys = words(text_at(fact, "readings"));
    if (keys.size() != static_cast<std::size_t>(print.places)) return complain(entry, fact, "a result without a reading for each place");
    bool accepts = true;
    Millionths sum = 0;
    for (std::size_t place = 0; place < keys.size(); ++place) {
      const auto reading = deciding(keys[place] == "this" ? entry.key : keys[place], print.key);
      if (!reading) return complain(entry, fact, "a result of a reading that nobody sent");
      sum += reading->value;
      accepts = accepts && (reading->answer ? reading->good : print.mean || inside(print, reading->value));
      if (text_at(fact, "verdict") != "accept" || reading->answer || !reading->sent) continue;
      if (std::to_string(reading->sent->serial) != text_at(fact, "serial")) complain(entry, fact, "accepted by a reading of another part");
      if (reading->sent->feature != print.key) complain(entry, fact, "accepted by a reading of another feature");
      if (reading->sent->place != static_cast<int>(place)) complain(entry, fact, "accepted by a reading of another place");
    }
    // The mean against the limits without a division: n x lower <= sum <= n x upper.
    if (print.mean) accepts = sum >= print.lower * print.places && sum <= print.upper * print.places;
    if (text_at(fact, "verdict") != (accepts ? "accept" : "reject")) complain(entry, fact, "judged otherwise than its readings");
    if (text_at(fact, "confirmed") == "true" && text_at(fact, "verdict") == "accept") complain(entry, fact, "a confirmation accepted");
  }

  House& house_;
  const Scenario& scenario_;
  std::map<std::string, std::size_t> index_;
  Complaints complaints_;
};

std::string group_of(const std::string& stage) { return stage == "final" || stage == "after finish" ? stage : "in process"; }

/// Results as they are now: (group, serial, feature) -> the fact, without those that a correction took away.
std::map<std::tuple<std::string, std::string, std::string>, json::value> results_now(House& house) {
  std::map<std::tuple<std::string, std::string, std::string>, json::value> out;
  for (const auto& entry : house.journal())
    for (const auto& fact : facts_of(entry)) {
      const auto kind = text_at(fact, "kind");
      const std::tuple key{group_of(text_at(fact, "stage")), text_at(fact, "serial"), text_at(fact, "feature")};
      if (kind == "result") out[key] = fact;
      if (kind == "correction") out.erase(key);
    }
  return out;
}

}  // namespace

Complaints check_sources(House& house) {
  static const std::set<std::string> of_the_house = {"started", "display_came", "display_went", "gauge_registered", "gauge_changed", "gauge_lost",
                                                     "gauge_heard", "told", "time_reached", "clock_stepped", "refusals_counted", "not_answered"};
  Complaints out;
  std::map<std::tuple<std::string, std::string, std::int64_t, std::string>, int> sent, kept;
  for (const auto& one : house.sent) ++sent[{one.gauge, one.boot, one.steady_ns, one.value + "\r\n"}];
  std::map<std::string, int> commands;
  for (const auto& entry : house.journal()) {
    if (is_reading(entry)) {
      const std::tuple key{entry.gauge, entry.boot, entry.steady_ns, entry.raw};
      if (++kept[key] > sent[key]) out.push_back("a reading in the journal that no gauge sent, or twice: " + entry.key + " " + entry.gauge + " " + entry.raw);
      if (text_at(entry.input, "reading.value") + "\r\n" != entry.raw) out.push_back("a reading whose value is not its bytes: " + entry.key);
    } else if (const auto key = text_at(entry.input, "idempotency_key"); !key.empty()) {
      if (!house.commands.contains(key)) out.push_back("a command in the journal that nobody sent: " + key);
      if (++commands[key] > 1) out.push_back("a command in the journal twice: " + key);
    } else if (!of_the_house.contains(entry.kind)) {
      out.push_back("an event of no source: " + entry.kind + " " + entry.key);
    }
  }
  for (const auto& [key, done] : house.commands)
    if (done && !commands.contains(key)) out.push_back("acknowledged and not in the journal: " + key);
  std::set<std::string> keys;
  for (const auto& entry : house.journal()) keys.insert(entry.key);
  for (const auto& key : house.told_keys)
    if (!keys.contains(key)) out.push_back("told and not in the journal: " + key);
  return out;
}

Complaints check_results(House& house, const Scenario& scenario) { return ResultCheck(house, scenario).run(); }

Complaints check_parts(House& house) {
  Complaints out;
  std::map<std::pair<std::string, std::string>, std::set<std::string>> measured;
  for (const auto& entry : house.journal())
    for (const auto& fact : facts_of(entry))
      if (text_at(fact, "kind") == "result")
        measured[{group_of(text_at(fact, "stage")), text_at(fact, "serial")}].insert(entry.bench + " " + text_at(fact, "walk") + " " + text_at(fact, "part"));
  for (const auto& [part, by] : measured)
    if (by.size() > 1) out.push_back("part " + part.second + " was measured twice: " + *by.begin() + ", " + *by.rbegin());
  return out;
}

Complaints check_suspects(House& house) {
  Complaints out;
  struct Master {
    std::set<std::string> made;          // results since it was last good
    int readings = 0;                    // of the setting that is going on
    bool failed = false;
  };
  std::map<std::string, Master> masters;
  for (const auto& entry : house.journal()) {
    std::set<std::string> marks;
    std::size_t n = 0;
    for (const auto& fact : facts_of(entry)) {
      const std::string own = entry.key + "/" + std::to_string(++n), overrules = text_at(fact, "overrules");
      const auto kind = text_at(fact, "kind");
      if (kind == "mark" && text_at(fact, "verdict") == "suspect") marks.insert(overrules);
      if (kind != "result" && kind != "correction") continue;
      for (auto& [gauge, master] : masters) master.made.erase(overrules);
      if (kind == "result")
        for (const auto& gauge : words(text_at(fact, "gauge")))
          if (gauge.starts_with("bore-")) masters[gauge].made.insert(own);
    }
    std::set<std::string> expected;
    if (what_of(entry) == "setting") {
      auto& master = masters[entry.gauge];
      const auto value = millionths(text_at(entry.input, "reading.value"));
      const bool good = value >= -2000 && value <= 2000;   // 25.002 +/- 0.002, as a difference
      ++master.readings;
      // Outside twice stands; outside and then inside is decided by a third; once failed, the first good one ends it.
      const bool decided_good = good && (master.failed || master.readings != 2);
      const bool stands = !good && !master.failed && master.readings >= 2;
      if (stands) {
        expected = master.made;
        ++house.counters["a gauge failed on its master"];
        if (!expected.empty()) ++house.counters["suspects"];
      }
      if (decided_good || stands) {
        master.made.clear();
        master.readings = 0;
        master.failed = stands;
      }
    }
    if (marks != expected)
      out.push_back("suspects of " + entry.key + ": " + std::to_string(marks.size()) + " marked, " + std::to_string(expected.size()) + " should be");
  }
  return out;
}

Complaints check_ends(House& house, const Scenario& scenario) {
  Complaints out;
  const auto now = results_now(house);
  const auto lots = house.desk().list("lots");
  if (!lots.is_array() || lots.as_array().size() != 1) return {"not one lot"};
  const auto claims = at(lots.as_array()[0], "claims");
  const auto group = group_of(scenario.stage);
  for (std::int64_t serial = 1; serial <= scenario.parts; ++serial) {
    const std::string number = std::to_string(serial), name = "part " + number;
    const auto* claim = claims.as_object().if_contains((group == "final" ? "final/" : "in_process/") + number);
    if (!claim) {
      out.push_back(name + " was never measured");
      continue;
    }
    const auto end = text_at(*claim, "end");
    std::size_t accepted = 0, rejected = 0;
    for (const auto& print : scenario.prints) {
      const auto result = now.find({group, number, print.key});
      if (result == now.end()) continue;
      ++(text_at(result->second, "verdict") == "accept" ? accepted : rejected);
    }
    // A walk that was given up hands an unread part back; then nothing may have been measured of it.
    if (end.empty()) out.push_back(name + " has no end");
    if (end == "given_back" && accepted + rejected > 0) out.push_back(name + " was measured and handed back");
    if (end == "accepted" && (rejected > 0 || accepted != scenario.prints.size())) out.push_back(name + " ended accepted with " + std::to_string(rejected) + " rejects and " + std::to_string(accepted) + " accepts");
    // One place's standing reject is enough, also where another place was passed over and the feature has no result.
    if (end == "rejected" && rejected == 0 && accepted == scenario.prints.size()) out.push_back(name + " ended rejected without a reject");
    if (end != "accepted") continue;
    // In truth: an accepted part is good in everything.
    for (const auto& print : scenario.prints) {
      Millionths sum = 0;
      bool good = true;
      for (int place = 0; place < print.places; ++place) {
        const auto value = scenario.truth.at(serial).values.at(print.key + "/" + std::to_string(place));
        sum += value;
        good = good && (print.gauge_kind.empty() ? value == 1 : print.mean || inside(print, value));
      }
      if (print.mean) good = sum >= print.lower * print.places && sum <= print.upper * print.places;
      if (!good) out.push_back("a false accept: " + name + " " + print.key);
    }
  }
  return out;
}

Complaints check_trays(House& house, const Scenario& scenario) {
  Complaints out;
  std::map<std::string, std::string> slot_of, serial_of;           // by the part's key
  std::map<std::string, std::uint64_t> newest_tray;                // by walk: number of the event that began it
  for (const auto& entry : house.journal())
    for (const auto& fact : facts_of(entry)) {
      if (text_at(fact, "kind") != "result") continue;
      const auto part = text_at(fact, "part"), slot = text_at(fact, "slot"), serial = text_at(fact, "serial");
      const std::string name = "part " + serial + " (" + part + ")";
      const bool alone = scenario.tray == 0 || text_at(fact, "stage") == "first part";
      if (alone != slot.empty()) out.push_back(name + (alone ? " lies on a tray" : " lies on no tray"));
      if (!slot.empty() && std::stoi(slot) > scenario.tray) out.push_back(name + " lies beyond the tray");
      if (slot_of.emplace(part, slot).first->second != slot) out.push_back(name + " changed its slot");
      if (serial_of.emplace(part, serial).first->second != serial) out.push_back(name + " shares its slot");
      const auto begun = std::stoull(part.substr(part.find_first_of(":-/") + 1));
      auto& newest = newest_tray[text_at(fact, "walk")];
      if (begun < newest) out.push_back(name + " was read after the next tray");
      newest = std::max<std::uint64_t>(newest, begun);
    }
  return out;
}

Complaints check_states(House& house) {
  if (house.states_text() == house.replayed_text()) return {};
  return {"the journal's outcomes give other states than the live run"};
}

std::string last_taken(House& house, const std::string& bench) {
  std::string walk;
  std::map<std::string, std::string> taken;
  for (const auto& entry : house.journal()) {
    if (entry.bench != bench) continue;
    const auto what = what_of(entry);
    if (what == "walk_begun") walk = entry.key;
    if (what == "taken_up") walk = text_at(entry.input, "body.walk");
    if (what == "parked" || what == "walk_ended" || what == "walk_given_up") walk.clear();
    if (what == "counted" || what == "answer") taken[walk] = entry.key;
    if (what == "retake" || what == "set_aside" || what == "part_anew") taken[walk].clear();
  }
  return walk.empty() ? "" : taken[walk];
}

}  // namespace tallystick::simulated
