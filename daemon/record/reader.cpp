#include "daemon/record/reader.hpp"

#include <algorithm>

#include "daemon/record/chain_check.hpp"
#include "daemon/record/reader_inside.hpp"
#include "daemon/record/schema.hpp"

namespace tallystick::record {

namespace {

constexpr std::int64_t few_facts = 20000;

}  // namespace

Event event_of(const Statement& row, const std::string& journal) {
  Event out;
  const auto text_at = [&](int column) { return std::string(row.text(column)); };
  out.branch = row.integer(0);
  out.key = {journal, static_cast<std::uint64_t>(row.integer(1))};
  Proposal& c = out.content;
  c.kind = text_at(2);
  c.version = static_cast<int>(row.integer(3));
  c.rules = static_cast<int>(row.integer(4));
  c.stamp = {row.integer(5), row.integer(6), text_at(7), text_at(8)};
  c.bench = text_at(9);
  c.walk = text_at(10);
  c.person = text_at(11);
  c.lot = text_at(12);
  c.gauge = text_at(13);
  c.input = text_at(14);
  c.raw = std::string(row.blob(15));
  c.outcome = text_at(16);
  out.previous = std::string(row.blob(18));
  out.hash = std::string(row.blob(19));
  return out;
}

std::string_view RawFact::column(std::size_t index) const {
  return static_cast<const Statement*>(row_)->text(static_cast<int>(index) + 2);
}

Reader::Reader(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
Reader::~Reader() = default;

Expected<std::unique_ptr<Reader>> Reader::open(const Place& place) {
  return open_file(place.journal(), place.vfs);
}

Expected<std::unique_ptr<Reader>> Reader::open_file(const std::filesystem::path& file,
                                                    const std::string& vfs) {
  auto connection = open_to_read(file, vfs);
  if (!connection) return tl::unexpected<Error>(connection.error());
  auto inside = std::make_unique<Inside>();
  inside->connection = std::move(*connection);
  return std::unique_ptr<Reader>(new Reader(std::move(inside)));
}

/// Those of a walk's events that the finder knows; `page.next` then stands at its reach, or where the limit was reached.
Expected<bool> Reader::Inside::add_found_events(const Segment& segment, std::string_view walk, std::size_t limit,
                                                std::uint64_t reach, EventPage& page) {
  static const std::string sql =
      "SELECT " + entry_select() +
      " FROM finder CROSS JOIN entry USING (branch, seq) WHERE finder.what = 'event' AND finder.value = ?5 AND finder.branch = "
      "?1 AND finder.seq > ?2 AND finder.seq <= ?3 ORDER BY finder.seq LIMIT ?4";
  Statement* rows = prepared(sql);
  if (rows == nullptr) return fault();
  rows->bind(1, segment.number);
  rows->bind(2, page.next.seq);
  rows->bind(3, reach);
  rows->bind(4, static_cast<std::uint64_t>(limit - page.events.size()));
  rows->bind_text(5, walk);
  int code = SQLITE_OK;
  while ((code = rows->step()) == SQLITE_ROW) {
    page.events.push_back(event_of(*rows, segment.journal));
    page.next.seq = page.events.back().key.seq;
  }
  rows->reset();
  if (code != SQLITE_DONE) return fault();
  return page.events.size() >= limit;
}

Expected<bool> Reader::Inside::add_events(const Segment& segment, std::string_view walk, std::size_t limit,
                                          EventPage& page) {
  std::uint64_t reach = 0;
  if (!walk.empty()) {
    const auto known = finder_reach(segment);
    if (!known) return tl::unexpected<Error>(known.error());
    reach = *known;
    if (page.next.seq < reach) {
      auto full = add_found_events(segment, walk, limit, reach, page);
      if (!full || *full) return full;
    }
  }
  const std::string sql = "SELECT " + entry_select() + " FROM entry WHERE branch = ?1 AND seq > ?2 AND seq <= ?3" +
                          (walk.empty() ? "" : " AND walk = ?5") + " ORDER BY seq LIMIT ?4";
  Statement* rows = prepared(sql);
  if (rows == nullptr) return fault();
  rows->bind(1, segment.number);
  rows->bind(2, std::max(page.next.seq, reach));
  rows->bind(3, segment.last);
  rows->bind(4, static_cast<std::uint64_t>(limit - page.events.size()));
  if (!walk.empty()) rows->bind_text(5, walk);
  int code = SQLITE_OK;
  while ((code = rows->step()) == SQLITE_ROW) {
    page.events.push_back(event_of(*rows, segment.journal));
    page.next.seq = page.events.back().key.seq;
  }
  rows->reset();
  if (code != SQLITE_DONE) return fault();
  return page.events.size() >= limit;
}

Expected<EventPage> Reader::events_after(const Cursor& cursor, std::size_t limit) {
  auto place = inside_->locate(cursor);
  if (!place) return tl::unexpected<Error>(place.error());
  EventPage page;
  page.next = cursor;
  for (std::size_t index = place->at.segment; index < place->path.size(); ++index) {
    const auto& segment = place->path[index];
    page.next = {segment.journal, index == place->at.segment ? place->at.seq : 0, 0};
    auto full = inside_->add_events(segment, "", limit, page);
    if (!full) return tl::unexpected<Error>(full.error());
    if (*full) {
      page.more = true;
      return page;
    }
  }
  return page;
}

Expected<EventPage> Reader::events_of_walk(std::string_view walk, const Cursor& cursor, std::size_t limit) {
  const auto key = key_from(walk);
  if (!key)
    return fail("not_a_key", "\"" + std::string(walk.substr(0, 80)) + "\" is not the key of a walk", "walk");
  const Cursor begun{key->journal, key->seq, 0};
  auto place = inside_->locate(cursor.at_beginning() ? begun : cursor);
  if (!place) return tl::unexpected<Error>(place.error());
  EventPage page;
  page.next = cursor;
  if (cursor.at_beginning()) {
    auto first = event(*key);
    if (!first) return tl::unexpected<Error>(first.error());
    if (*first) page.events.push_back(std::move(**first));
  }
  for (std::size_t index = place->at.segment; index < place->path.size(); ++index) {
    const auto& segment = place->path[index];
    page.next = {segment.journal, index == place->at.segment ? place->at.seq : 0, 0};
    auto full =
        page.events.size() < limit ? inside_->add_events(segment, walk, limit, page) : Expected<bool>(true);
    if (!full) return tl::unexpected<Error>(full.error());
    if (*full) {
      page.more = true;
      return page;
    }
  }
  return page;
}

Expected<std::optional<Event>> Reader::event(const Key& key) {
  Statement* row =
      inside_->prepared("SELECT " + entry_select() +
                        " FROM entry WHERE branch = (SELECT number FROM branch WHERE journal = ?) "
                        "AND seq = ?");
  if (row == nullptr) return inside_->fault();
  row->bind_text(1, key.journal);
  row->bind(2, key.seq);
  const int code = row->step();
  std::optional<Event> out;
  if (code == SQLITE_ROW) out = event_of(*row, key.journal);
  row->reset();
  if (code != SQLITE_ROW && code != SQLITE_DONE) return inside_->fault();
  return out;
}

/// Few facts of a span of time are found through the index and put in order; for many it is better to go
/// through all.
Expected<Route> Reader::Inside::route_of(const FactFilter& filter, const Segment& segment) {
  if (has_indexed_filter(filter)) return Route::indexed;
  if (filter.from_utc.empty()) return Route::key;
  Statement* span = prepared(
      "SELECT count(*) FROM (SELECT 1 FROM finder WHERE what = 'time' AND value >= ?1 AND (?2 = '' OR value < ?2) "
      "LIMIT ?3)");
  if (span == nullptr) return fault();
  (void)segment;
  span->bind_text(1, filter.from_utc);
  span->bind_text(2, filter.to_utc);
  span->bind(3, few_facts + 1);
  if (!span->row()) return fault();
  const auto count = span->integer(0);
  span->reset();
  return count <= few_facts ? Route::time : Route::key;
}

/// Goes on in one branch from `swept.next`; true when the limit was reached or `row` ended it.
Expected<bool> Reader::Inside::sweep_segment(const FactFilter& filter, View view,
                                             const std::vector<Segment>& path, const Segment& segment,
                                             std::size_t limit, Swept& swept, RawFact& fact,
                                             const std::function<bool(const RawFact&)>& row) {
  auto route = route_of(filter, segment);
  if (!route) return tl::unexpected<Error>(route.error());
  const auto last = last_seq(segment);
  if (!last) return tl::unexpected<Error>(last.error());
  const auto reach = *route == Route::key ? Expected<std::uint64_t>(0) : finder_reach(segment);
  if (!reach) return tl::unexpected<Error>(reach.error());
  for (;;) {
    // What the finder knows at once, then what it does not have yet.
    const bool found = swept.next.seq < *reach || (swept.next.seq == *reach && *reach > 0 && swept.next.n < all_of_event);
    const auto query = fact_query(filter, view, path, segment, found ? *route : Route::key);
    Statement* rows = prepared(query.sql);
    if (rows == nullptr) return fault();
    const std::uint64_t until = found                ? std::min(*last, *reach)
                                : has_filter(filter) ? std::min(*last, swept.next.seq + window_events)
                                                     : *last;
    rows->bind(1, segment.number);
    rows->bind(2, swept.next.seq);
    rows->bind(3, swept.next.n);
    rows->bind(4, until);
    rows->bind(5, static_cast<std::uint64_t>(limit - swept.rows));
    for (std::size_t index = 0; index < query.texts.size(); ++index)
      rows->bind_text(static_cast<int>(index) + 6, query.texts[index]);
    fact.row_ = rows;
    int code = SQLITE_OK;
    bool wanted = true;
    while (wanted && (code = rows->step()) == SQLITE_ROW) {
      fact.seq_ = static_cast<std::uint64_t>(rows->integer(0));
      fact.n_ = static_cast<std::uint64_t>(rows->integer(1));
      wanted = row(fact);
      swept.next.seq = fact.seq_;
      swept.next.n = fact.n_;
      ++swept.rows;
    }
    rows->reset();
    if (wanted && code != SQLITE_DONE) return fault();
    if (!wanted || swept.rows >= limit) return true;
    if (until >= *last) return false;
    // All facts up to `until` were looked at; a later page must not look at them again.
    swept.next.seq = until;
    swept.next.n = all_of_event;
  }
}

Expected<Swept> Reader::sweep_facts(const Cursor& cursor, const FactFilter& filter, std::size_t limit,
                                    View view, const std::function<bool(const RawFact&)>& row) {
  auto place = inside_->locate(cursor);
  if (!place) return tl::unexpected<Error>(place.error());
  Swept swept;
  swept.next = cursor;
  if (limit == 0) return swept;
  for (std::size_t index = place->at.segment; index < place->path.size(); ++index) {
    const auto& segment = place->path[index];
    const bool first = index == place->at.segment;
    swept.next = {segment.journal, first ? place->at.seq : 0, first ? place->at.n : 0};
    RawFact fact;
    fact.journal_ = segment.journal;
    auto full = inside_->sweep_segment(filter, view, place->path, segment, limit, swept, fact, row);
    if (!full) return tl::unexpected<Error>(full.error());
    if (*full) {
      swept.more = true;
      return swept;
    }
  }
  return swept;
}

Expected<FactPage> Reader::facts_after(const Cursor& cursor, const FactFilter& filter, std::size_t limit,
                                       View view) {
  FactPage page;
  auto swept = sweep_facts(cursor, filter, limit, view, [&](const RawFact& raw) {
    page.rows.push_back({{std::string(raw.journal()), raw.seq()},
                         raw.n(),
                         fact_of(*static_cast<const Statement*>(raw.row_))});
    return true;
  });
  if (!swept) return tl::unexpected<Error>(swept.error());
  page.next = swept->next;
  page.more = swept->more;
  return page;
}

Expected<std::optional<FactRow>> Reader::fact(const Key& event, std::uint64_t n) {
  std::optional<FactRow> out;
  if (n == 0) return out;
  auto branches = read_branches(inside_->connection);
  if (!branches) return tl::unexpected<Error>(branches.error());
  for (const auto& branch : *branches) {
    if (branch.journal != event.journal) continue;
    const Segment segment{branch.number, branch.journal, event.seq};
    const auto query = fact_query({}, View::all, {}, segment, Route::key);
    Statement* rows = inside_->prepared(query.sql);
    if (rows == nullptr) return inside_->fault();
    rows->bind(1, segment.number);
    rows->bind(2, event.seq);
    rows->bind(3, n - 1);
    rows->bind(4, event.seq);
    rows->bind(5, std::int64_t{1});
    const int code = rows->step();
    if (code == SQLITE_ROW && static_cast<std::uint64_t>(rows->integer(1)) == n)
      out = FactRow{event, n, fact_of(*rows)};
    rows->reset();
    if (code != SQLITE_ROW && code != SQLITE_DONE) return inside_->fault();
  }
  return out;
}

Expected<std::optional<FactRow>> Reader::last_fact(const FactFilter& filter) {
  auto path = current_path(inside_->connection);
  if (!path) return tl::unexpected<Error>(path.error());
  for (auto segment = path->rbegin(); segment != path->rend(); ++segment) {
    const auto query = fact_query(filter, View::all, *path, *segment,
                                  has_indexed_filter(filter) ? Route::indexed : Route::key, true);
    Statement* rows = inside_->prepared(query.sql);
    if (rows == nullptr) return inside_->fault();
    rows->bind(1, segment->number);
    constexpr std::uint64_t greatest = std::numeric_limits<std::int64_t>::max();
    rows->bind(2, segment->last < greatest ? segment->last + 1 : greatest);
    rows->bind(3, std::int64_t{0});
    rows->bind(4, std::int64_t{0});
    rows->bind(5, std::int64_t{1});
    for (std::size_t index = 0; index < query.texts.size(); ++index)
      rows->bind_text(static_cast<int>(index) + 6, query.texts[index]);
    const int code = rows->step();
    std::optional<FactRow> out;
    if (code == SQLITE_ROW)
      out = FactRow{{segment->journal, static_cast<std::uint64_t>(rows->integer(0))},
                    static_cast<std::uint64_t>(rows->integer(1)),
                    fact_of(*rows)};
    rows->reset();
    if (code != SQLITE_ROW && code != SQLITE_DONE) return inside_->fault();
    if (out) return out;
  }
  return std::optional<FactRow>();
}

Expected<std::optional<BranchPoint>> Reader::branch_point(const Cursor& cursor) {
  auto path = current_path(inside_->connection);
  if (!path) return tl::unexpected<Error>(path.error());
  return branch_point_of(*path, cursor);
}

Expected<std::vector<Branch>> Reader::branches() { return read_branches(inside_->connection); }

Expected<Cursor> Reader::end() {
  auto path = current_path(inside_->connection);
  if (!path) return tl::unexpected<Error>(path.error());
  if (path->empty()) return Cursor{};
  const auto last = inside_->last_seq(path->back());
  if (!last) return tl::unexpected<Error>(last.error());
  return Cursor{path->back().journal, *last, 0x7fffffff};
}

Expected<std::optional<Attachment>> Reader::blob(std::string_view sha256) {
  Statement* row = inside_->prepared("SELECT sha256, media_type, bytes FROM blob WHERE sha256 = ?");
  if (row == nullptr) return inside_->fault();
  row->bind_text(1, sha256);
  const int code = row->step();
  std::optional<Attachment> out;
  if (code == SQLITE_ROW)
    out = Attachment{std::string(row->text(0)), std::string(row->text(1)), std::string(row->blob(2))};
  row->reset();
  if (code != SQLITE_ROW && code != SQLITE_DONE) return inside_->fault();
  return out;
}

Expected<std::optional<Checkpoint>> Reader::newest_checkpoint() {
  auto path = current_path(inside_->connection);
  if (!path) return tl::unexpected<Error>(path.error());
  Statement* row = inside_->prepared(
      "SELECT seq, state FROM checkpoint WHERE branch = ? AND seq <= ? "
      "ORDER BY seq DESC LIMIT 1");
  if (row == nullptr) return inside_->fault();
  for (auto segment = path->rbegin(); segment != path->rend(); ++segment) {
    row->reset();
    row->bind(1, segment->number);
    row->bind(2, segment->last);
    const int code = row->step();
    if (code == SQLITE_ROW) {
      Checkpoint out{{segment->journal, static_cast<std::uint64_t>(row->integer(0))},
                     std::string(row->text(1))};
      row->reset();
      return out;
    }
    if (code != SQLITE_DONE) return inside_->fault();
  }
  row->reset();
  return std::optional<Checkpoint>();
}

Expected<Counts> Reader::counts() {
  Statement* row = inside_->prepared(
      "SELECT (SELECT count(*) FROM branch), (SELECT count(*) FROM entry), (SELECT count(*) FROM fact), "
      "(SELECT count(*) FROM blob)");
  if (row == nullptr || !row->row()) return inside_->fault();
  const auto at = [&](int column) { return static_cast<std::uint64_t>(row->integer(column)); };
  const Counts out{at(0), at(1), at(2), at(3)};
  row->reset();
  return out;
}

}  // namespace tallystick::record
