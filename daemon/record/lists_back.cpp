// Lists of walks and parts, newest first.
#include <set>
#include <tuple>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/history.hpp"
#include "daemon/walk/outcome.hpp"

namespace tallystick::record {

namespace {

/// Asks for more than a lot.
bool asks_for_facts(const FactFilter& f) {
  return !f.part.empty() || !f.serial.empty() || !f.feature.empty() || !f.kind.empty() || !f.gauge.empty() ||
         !f.verdict.empty() || !f.from_utc.empty() || !f.to_utc.empty();
}

/// Whether a fact that the filter lets through exists.
Expected<bool> any_fact(Reader& reader, FactFilter filter, View view) {
  Cursor before;
  for (bool more = true; more;) {
    const auto page = reader.facts_before(before, filter, 1, view);
    if (!page) return tl::unexpected<Error>(page.error());
    if (!page->rows.empty()) return true;
    before = page->next;
    more = page->more;
  }
  return false;
}

template <class Row>
void count(Row& row, const Fact& fact) {
  if (fact.kind == "result") {
    ++row.results;
    row.rejects += fact.verdict == "reject" ? 1 : 0;
  }
  if (fact.kind == "mark" && fact.verdict == "suspect") ++row.suspects;
}

/// Goes through all standing facts that one of the indexes finds.
Done each_standing(Reader& reader, const FactFilter& filter, const std::function<void(const Fact&)>& take) {
  Cursor cursor;
  for (bool more = true; more;) {
    const auto page = reader.facts_after(cursor, filter, 2000, View::as_of_now);
    if (!page) return tl::unexpected<Error>(page.error());
    for (const auto& row : page->rows) take(row.fact);
    cursor = page->next;
    more = page->more;
  }
  return {};
}

Expected<std::optional<walk::LotState>> lot_of(Reader& reader, const std::string& key) {
  const auto parsed = key_from(key);
  if (!parsed) return std::optional<walk::LotState>();
  const auto event = reader.event(*parsed);
  if (!event) return tl::unexpected<Error>(event.error());
  if (!*event) return std::optional<walk::LotState>();
  const auto outcome = mirror::parse<walk::Outcome>((*event)->content.outcome);
  if (!outcome) return tl::unexpected<Error>(outcome.error());
  for (const auto& [id, change] : outcome->lots)
    if (change.opened) return std::optional<walk::LotState>(*change.opened);
  return std::optional<walk::LotState>();
}

Expected<std::optional<WalkRow>> walk_row(Reader& reader, const Event& event, const FactFilter& filter,
                                          View view) {
  const auto outcome = mirror::parse<walk::Outcome>(event.content.outcome);
  if (!outcome) return tl::unexpected<Error>(outcome.error());
  const walk::WalkState* begun = nullptr;
  for (const auto& [id, change] : outcome->walks)
    if (change.begun) begun = &*change.begun;
  if (!begun || (!filter.lot.empty() && begun->lot != filter.lot)) return std::optional<WalkRow>();
  WalkRow row;
  row.walk = text(event.key);
  if (!filter.walk.empty() && row.walk != filter.walk) return std::optional<WalkRow>();
  row.lot = begun->lot;
  const auto lot = lot_of(reader, begun->lot);
  if (!lot) return tl::unexpected<Error>(lot.error());
  if (*lot) {
    row.lot_name = (*lot)->lot_name;
    row.family = (*lot)->family;
    row.size = (*lot)->size;
    row.print_revision = (*lot)->print_revision;
  }
  if (!filter.lot_name.empty() && row.lot_name != filter.lot_name) return std::optional<WalkRow>();
  FactFilter own = filter;
  own.walk = row.walk;
  if (asks_for_facts(filter)) {
    const auto any = any_fact(reader, own, view);
    if (!any) return tl::unexpected<Error>(any.error());
    if (!*any) return std::optional<WalkRow>();
  }
  row.stage = begun->stage;
  row.bench = begun->bench;
  row.person = begun->person;
  row.edition = begun->edition;
  row.begun_utc = utc_text(event.content.stamp.utc_us);
  row.first = begun->first;
  row.last = begun->last;
  std::set<std::string> parts;
  FactFilter all;
  all.walk = row.walk;
  auto done = each_standing(reader, all, [&](const Fact& fact) {
    count(row, fact);
    if (!fact.part.empty()) parts.insert(fact.part);
  });
  if (!done) return tl::unexpected<Error>(done.error());
  row.parts = static_cast<std::int64_t>(parts.size());
  return std::optional<WalkRow>(std::move(row));
}

Expected<PartRow> part_row(Reader& reader, const Fact& newest) {
  PartRow row;
  row.part = newest.part;
  row.serial = newest.serial;
  row.lot = newest.lot;
  row.lot_name = newest.lot_name;
  row.family = newest.family;
  row.size = newest.size;
  FactFilter all;
  all.part = newest.part;
  auto done = each_standing(reader, all, [&](const Fact& fact) {
    count(row, fact);
    if (fact.kind != "result") return;
    row.stage = fact.stage;
    row.walk = fact.walk;
    row.bench = fact.bench;
    row.person = fact.person;
    if (row.first_utc.empty()) row.first_utc = fact.measured_utc;
    row.last_utc = fact.measured_utc;
  });
  if (!done) return tl::unexpected<Error>(done.error());
  if (row.walk.empty()) {
    row.stage = newest.stage;
    row.walk = newest.walk;
    row.bench = newest.bench;
    row.last_utc = newest.measured_utc;
  }
  return row;
}

}  // namespace

Expected<Back<WalkRow>> walks_before(Reader& reader, const Cursor& before, const FactFilter& filter,
                                     View view, std::size_t limit) {
  Back<WalkRow> out;
  out.next = before;
  // One page of events: so one call reads a bounded part of the record.
  const auto page = reader.events_before(before, "begin_walk", limit);
  if (!page) return tl::unexpected<Error>(page.error());
  for (const auto& event : page->events) {
    auto row = walk_row(reader, event, filter, view);
    if (!row) return tl::unexpected<Error>(row.error());
    if (*row) out.rows.push_back(std::move(**row));
  }
  out.next = page->next;
  out.more = page->more;
  return out;
}

Expected<Back<PartRow>> parts_before(Reader& reader, const Cursor& before, const Cursor& until,
                                     const FactFilter& filter, View view, std::size_t limit) {
  constexpr std::size_t facts_each_call = 5000;
  Back<PartRow> out;
  out.next = before.at_beginning() ? until : before;
  const auto page = reader.facts_before(out.next, filter, facts_each_call, view);
  if (!page) return tl::unexpected<Error>(page.error());
  std::set<std::string> seen;
  for (const auto& [event, n, fact] : page->rows) {
    if (out.rows.size() >= limit) {
      out.more = true;
      return out;
    }
    out.next = {event.journal, event.seq, n};
    if (fact.part.empty() || !seen.insert(fact.part).second) continue;
    FactFilter own = filter;
    own.part = fact.part;
    own.serial.clear();
    const auto newest = reader.facts_before(until, own, 1, view);
    if (!newest) return tl::unexpected<Error>(newest.error());
    // Listed on an earlier page, at a newer fact.
    if (!newest->rows.empty() && (newest->rows.front().event != event || newest->rows.front().n != n))
      continue;
    auto row = part_row(reader, fact);
    if (!row) return tl::unexpected<Error>(row.error());
    out.rows.push_back(std::move(*row));
  }
  out.next = page->next;
  out.more = page->more;
  return out;
}

}  // namespace tallystick::record
