#include "daemon/record/history.hpp"

#include <algorithm>
#include <map>
#include <set>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/outcome.hpp"

namespace tallystick::record {

namespace {

namespace json = boost::json;

std::string hex_of(std::string_view bytes) {
  constexpr char digits[] = "0123456789abcdef";
  std::string out;
  for (const char letter : bytes) {
    const auto byte = static_cast<unsigned char>(letter);
    out += digits[byte >> 4U];
    out += digits[byte & 15U];
  }
  return out;
}

std::string member(const json::value& from, std::string_view name) {
  const auto* object = from.if_object();
  const auto* value = object ? object->if_contains(name) : nullptr;
  return value && value->is_string() ? std::string(value->as_string()) : std::string();
}

/// What happened that nobody did and nobody measured: it belongs into no history.
bool of_interest(const std::string& kind) {
  return kind != "told" && kind != "time_reached" && kind != "display_came" && kind != "display_went";
}

void fill_from_last(HistoryLine& line, const walk::Last& last) {
  line.feature = last.feature;
  line.balloon = last.balloon;
  line.name = last.name;
  line.place = last.place;
  line.step_kind = last.kind;
  line.value = last.value;
  line.unit = last.unit;
  line.lower = last.lower;
  line.upper = last.upper;
  line.verdict = last.verdict;
  line.side = last.side;
  line.by = last.by;
  line.typed = last.typed;
  line.confirmed = last.confirmed;
  line.stands = last.stands;
  line.measured_again = last.measured_again;
  if (line.gauge.empty()) line.gauge = last.gauge;
  if (line.sent_value.empty()) {
    line.sent_value = last.sent_value;
    line.sent_unit = last.sent_unit;
  }
}

HistoryLine line_of(const Event& event, const walk::Outcome& outcome) {
  HistoryLine line;
  const auto& content = event.content;
  line.key = text(event.key);
  line.utc = utc_text(content.stamp.utc_us);
  line.clock = content.stamp.clock;
  line.kind = content.kind;
  line.walk = content.walk;
  line.bench = content.bench;
  line.person = content.person;
  line.gauge = content.gauge;
  line.raw_hex = hex_of(content.raw);
  line.what = outcome.what;
  line.why = outcome.why;
  line.capture = outcome.capture;
  boost::system::error_code code;
  const auto input = json::parse(content.input, code);
  if (!code && input.is_object()) {
    if (const auto* reading = input.as_object().if_contains("reading")) {
      line.sent_value = member(*reading, "value");
      line.sent_unit = member(*reading, "unit");
      if (line.gauge.empty()) line.gauge = member(*reading, "gauge");
    }
    if (const auto* body = input.as_object().if_contains("body")) {
      line.reason = member(*body, "reason");
      line.note = member(*body, "text");
      if (content.kind == "act") line.note = member(*body, "action");
      if (content.kind == "type_value") {
        line.sent_value = member(*body, "value");
        line.sent_unit = member(*body, "unit");
        line.typed = true;
      }
    }
  }
  for (std::size_t n = 1; n <= outcome.facts.size(); ++n) line.facts.push_back(fact_key(event.key, n));
  return line;
}

/// The event that began a part: its key, but for the serial behind it where that event began several.
std::string_view begun_by(std::string_view part) { return part.substr(0, part.find('.')); }

const walk::PartState* in_hand(const walk::WalkState* walk) {
  if (!walk) return nullptr;
  const auto& part = walk->standing.in_previous ? walk->previous : walk->part;
  return part ? &*part : nullptr;
}

const walk::WalkState* find(const walk::States& states, const std::string& key) {
  const auto found = states.walks.find(key);
  return found == states.walks.end() ? nullptr : &found->second;
}

/// One walk's events in order, told to `take(event, outcome, line)`, with the part that was in hand.
struct Told {
  HistoryLine line;
  std::set<std::string> serials;  ///< of the parts that the event touched
};

void add_fact(History& out, const FactRow& row) {
  out.facts.push_back({fact_key(row.event, row.n), row.fact, {}, {}});
}

/// Copies each outcome into a state of its own, as a restart does, and says what the event was to which part.
class WalkTeller {
 public:
  explicit WalkTeller(const std::string& walk) : walk_(walk) {}

  Expected<Told> tell(const Event& event) {
    const auto outcome = mirror::parse<walk::Outcome>(event.content.outcome);
    if (!outcome) return tl::unexpected<Error>(outcome.error());
    Told out;
    out.line = line_of(event, *outcome);
    if (out.line.walk.empty()) out.line.walk = walk_;
    if (const auto* before = in_hand(find(states_, walk_))) touch(out, *before);
    walk::evolve(states_, *outcome, event.key, event.content.stamp);
    const auto* walk = find(states_, walk_);
    // The part in hand after it counts as touched only where the event says something of it.
    if (const auto* after = in_hand(walk)) {
      if (out.line.part.empty()) touch(out, *after);
      if (begun_by(after->key) == text(event.key)) out.serials.insert(std::to_string(after->serial));
    }
    for (const auto& fact : outcome->facts)
      if (!fact.serial.empty()) out.serials.insert(fact.serial);
    if (!walk) return out;
    if (edition.empty()) edition = walk->edition;
    if (lot.empty()) lot = walk->lot;
    const auto& standing = walk->standing;
    if (standing.last && standing.last->event == out.line.key) {
      fill_from_last(out.line, *standing.last);
      if (standing.last->serial != 0) out.serials = {std::to_string(standing.last->serial)};
      if (standing.last->serial != 0) out.line.serial = std::to_string(standing.last->serial);
    }
    if (standing.hold && standing.hold->event == out.line.key) {
      out.line.hold = standing.hold->kind;
      out.line.fits_size = standing.hold->fits_size;
      if (out.line.why.empty()) out.line.why = standing.hold->why;
    }
    return out;
  }
  std::string serial_of(std::string_view part) const {
    const auto found = serials_.find(std::string(part));
    return found == serials_.end() ? std::string() : found->second;
  }

  std::string edition, lot;

 private:
  void touch(Told& told, const walk::PartState& part) {
    told.line.part = part.key;
    told.line.serial = std::to_string(part.serial);
    told.serials.insert(told.line.serial);
    serials_[part.key] = told.line.serial;
  }

  std::string walk_;
  walk::States states_;
  std::map<std::string, std::string> serials_;
};

/// All events of a walk. `serial` empty: every part's.
Done tell_walk(Reader& reader, const std::string& walk, const std::string& serial, History& out) {
  WalkTeller teller(walk);
  Cursor cursor;
  for (bool more = true; more;) {
    const auto page = reader.events_of_walk(walk, cursor, 1000);
    if (!page) return tl::unexpected<Error>(page.error());
    for (const auto& event : page->events) {
      auto told = teller.tell(event);
      if (!told) return tl::unexpected<Error>(told.error());
      if (of_interest(event.content.kind) && (serial.empty() || told->serials.contains(serial)))
        out.lines.push_back(std::move(told->line));
    }
    cursor = page->next;
    more = page->more;
  }
  out.walks.push_back(walk);
  if (out.lot.empty()) out.lot = teller.lot;
  if (teller.edition.empty() || std::any_of(out.editions.begin(), out.editions.end(),
                                            [&](const auto& e) { return e.first == teller.edition; }))
    return {};
  auto blob = reader.blob(teller.edition);
  if (!blob) return tl::unexpected<Error>(blob.error());
  if (*blob) out.editions.emplace_back(teller.edition, std::move((*blob)->bytes));
  return {};
}

Done add_facts(Reader& reader, const FactFilter& filter, History& out) {
  Cursor cursor;
  for (bool more = true; more;) {
    const auto page = reader.facts_after(cursor, filter, 2000);
    if (!page) return tl::unexpected<Error>(page.error());
    for (const auto& row : page->rows) add_fact(out, row);
    cursor = page->next;
    more = page->more;
  }
  return {};
}

/// Events that gave a fact and belong to no walk told: a gauge that failed on its master, say.
Done add_other_events(Reader& reader, History& out) {
  std::set<std::string> told;
  for (const auto& line : out.lines) told.insert(line.key);
  for (const auto& fact : out.facts) {
    const auto slash = fact.key.rfind('/');
    const auto key = key_from(fact.key.substr(0, slash));
    if (!key || !told.insert(text(*key)).second) continue;
    const auto event = reader.event(*key);
    if (!event) return tl::unexpected<Error>(event.error());
    if (!*event) continue;
    const auto outcome = mirror::parse<walk::Outcome>((*event)->content.outcome);
    if (!outcome) return tl::unexpected<Error>(outcome.error());
    auto line = line_of(**event, *outcome);
    // Of an event about many parts only this one's facts.
    std::erase_if(line.facts, [&](const std::string& one) {
      return std::none_of(out.facts.begin(), out.facts.end(),
                          [&](const auto& known) { return known.key == one; });
    });
    out.lines.push_back(std::move(line));
  }
  return {};
}

/// Which fact overrules which, and the journal's order.
Done put_in_order(Reader& reader, History& out) {
  std::map<std::string, HistoryFact*> by_key;
  for (auto& fact : out.facts) by_key[fact.key] = &fact;
  for (const auto& fact : out.facts) {
    const auto named = by_key.find(fact.fact.overrules);
    if (named == by_key.end()) continue;
    if (fact.fact.kind == "mark" && fact.fact.verdict == "suspect")
      named->second->marked_by.push_back(fact.key);
    else
      named->second->overruled_by = fact.key;
  }
  const auto branches = reader.branches();
  if (!branches) return tl::unexpected<Error>(branches.error());
  std::map<std::string, std::int64_t> numbers;
  for (const auto& branch : *branches) numbers[branch.journal] = branch.number;
  const auto order = [&](const std::string& key) {
    const auto parsed = key_from(key);
    return parsed ? std::pair(numbers[parsed->journal], parsed->seq)
                  : std::pair(std::int64_t{0}, std::uint64_t{0});
  };
  std::stable_sort(out.lines.begin(), out.lines.end(),
                   [&](const HistoryLine& a, const HistoryLine& b) { return order(a.key) < order(b.key); });
  return {};
}

void name_it(History& out) {
  if (out.facts.empty()) return;
  const auto& fact = out.facts.front().fact;
  out.lot = fact.lot;
  out.lot_name = fact.lot_name;
  out.family = fact.family;
  out.size = fact.size;
}

/// The walk that an event belongs to; of a walk's begin the walk itself.
Expected<std::string> walk_of(Reader& reader, std::string_view key, const char* code) {
  const auto unknown = [&] {
    return fail(code, "the record has nothing under " + quoted(key.substr(0, 80)),
                std::string(code).substr(8), "GET /api/v1/records/parts and /walks list what there is");
  };
  const auto parsed = key_from(key);
  if (!parsed) return unknown();
  const auto event = reader.event(*parsed);
  if (!event) return tl::unexpected<Error>(event.error());
  if (!*event) return unknown();
  if ((*event)->content.kind == "begin_walk") return text(*parsed);
  if ((*event)->content.walk.empty()) return unknown();
  return (*event)->content.walk;
}

/// The serial of the part that an event of the walk began; "" where it began none.
Expected<std::string> serial_of(Reader& reader, const std::string& walk, std::string_view part) {
  WalkTeller teller(walk);
  Cursor cursor;
  for (bool more = true; more;) {
    const auto page = reader.events_of_walk(walk, cursor, 1000);
    if (!page) return tl::unexpected<Error>(page.error());
    for (const auto& event : page->events) {
      if (auto told = teller.tell(event); !told) return tl::unexpected<Error>(told.error());
      if (auto serial = teller.serial_of(part); !serial.empty()) return serial;
    }
    cursor = page->next;
    more = page->more;
  }
  return std::string();
}

}  // namespace

Expected<History> part_history(Reader& reader, std::string_view part) {
  const auto walk = walk_of(reader, begun_by(part), "unknown_part");
  if (!walk) return tl::unexpected<Error>(walk.error());
  const auto serial = serial_of(reader, *walk, part);
  if (!serial) return tl::unexpected<Error>(serial.error());
  if (serial->empty())
    return fail("unknown_part", "no part began at " + quoted(part), "part",
                "GET /api/v1/records/parts lists the parts");
  History out;
  out.serial = *serial;
  const auto own = reader.event(*key_from(*walk));
  if (!own) return tl::unexpected<Error>(own.error());
  FactFilter filter;
  filter.lot = *own ? (*own)->content.lot : "";
  filter.serial = *serial;
  if (auto done = add_facts(reader, filter, out); !done) return tl::unexpected<Error>(done.error());
  name_it(out);
  std::vector<std::string> walks;
  for (const auto& fact : out.facts)
    if (!fact.fact.walk.empty() && std::find(walks.begin(), walks.end(), fact.fact.walk) == walks.end())
      walks.push_back(fact.fact.walk);
  if (std::find(walks.begin(), walks.end(), *walk) == walks.end()) walks.push_back(*walk);
  for (const auto& one : walks)
    if (auto done = tell_walk(reader, one, *serial, out); !done) return tl::unexpected<Error>(done.error());
  if (auto done = add_other_events(reader, out); !done) return tl::unexpected<Error>(done.error());
  if (auto done = put_in_order(reader, out); !done) return tl::unexpected<Error>(done.error());
  return out;
}

Expected<History> walk_history(Reader& reader, std::string_view walk) {
  const auto known = walk_of(reader, walk, "unknown_walk");
  if (!known) return tl::unexpected<Error>(known.error());
  if (*known != walk)
    return fail("unknown_walk", "no walk began at " + quoted(walk), "walk",
                "GET /api/v1/records/walks lists the walks");
  History out;
  FactFilter filter;
  filter.walk = *known;
  if (auto done = add_facts(reader, filter, out); !done) return tl::unexpected<Error>(done.error());
  name_it(out);
  if (auto done = tell_walk(reader, *known, "", out); !done) return tl::unexpected<Error>(done.error());
  if (auto done = put_in_order(reader, out); !done) return tl::unexpected<Error>(done.error());
  return out;
}

}  // namespace tallystick::record
