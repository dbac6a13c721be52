// Reading the record from its end: what people look for is mostly what came last.
#include <limits>

#include "daemon/record/chain_check.hpp"
#include "daemon/record/reader_inside.hpp"

namespace tallystick::record {

namespace {

constexpr int windows_each_call = 25;

/// Goes down the path from a position, in windows of events, each a short read.
class WayBack {
 public:
  WayBack(const std::vector<Segment>& path, std::size_t segment, std::uint64_t seq, std::uint64_t n,
          bool whole)
      : path_(path), segment_(segment), seq_(seq), n_(n), whole_(whole) {}

  const Segment& segment() const { return path_[segment_]; }
  std::uint64_t seq() const { return seq_; }  ///< (seq, n) is the exclusive upper end
  std::uint64_t n() const { return n_; }
  std::uint64_t lower() const { return !whole_ && seq_ > window_events ? seq_ - window_events - 1 : 0; }
  Cursor cursor() const { return {segment().journal, seq_, n_}; }
  void stand_at(std::uint64_t seq, std::uint64_t n) {
    seq_ = seq;
    n_ = n;
  }
  /// Everything above `lower()` was looked at. False at the record's beginning.
  bool step(const std::function<std::uint64_t(const Segment&)>& last_of) {
    if (lower() > 0) {
      seq_ = lower() + 1;
      n_ = 0;
      return true;
    }
    seq_ = 1;
    n_ = 0;
    if (segment_ == 0) return false;
    --segment_;
    seq_ = last_of(segment()) + 1;
    return true;
  }

 private:
  const std::vector<Segment>& path_;
  std::size_t segment_;
  std::uint64_t seq_, n_;
  bool whole_;  ///< an index finds the rows: a branch in one read
};

}  // namespace

Expected<FactPage> Reader::facts_before(const Cursor& before, const FactFilter& filter, std::size_t limit,
                                        View view) {
  auto place = inside_->locate(before.at_beginning() ? Cursor{} : before);
  if (!place) return tl::unexpected<Error>(place.error());
  FactPage page;
  if (place->path.empty() || limit == 0) return page;
  std::optional<Error> broken;
  const auto last_of = [&](const Segment& segment) {
    const auto last = inside_->last_seq(segment);
    if (!last) broken = last.error();
    return last.value_or(0);
  };
  const std::size_t from = before.at_beginning() ? place->path.size() - 1 : place->at.segment;
  const bool indexed = has_indexed_filter(filter);
  WayBack way(place->path, from, before.at_beginning() ? last_of(place->path[from]) + 1 : place->at.seq,
              before.at_beginning() ? 0 : place->at.n, indexed);
  for (int window = 0; window < windows_each_call && !broken; ++window) {
    const auto query =
        fact_query(filter, view, place->path, way.segment(), indexed ? Route::indexed : Route::key, true);
    Statement* rows = inside_->prepared(query.sql);
    if (rows == nullptr) return inside_->fault();
    rows->bind(1, way.segment().number);
    rows->bind(2, way.seq());
    rows->bind(3, way.n());
    rows->bind(4, way.lower());
    rows->bind(5, static_cast<std::uint64_t>(limit - page.rows.size()));
    for (std::size_t index = 0; index < query.texts.size(); ++index)
      rows->bind_text(static_cast<int>(index) + 6, query.texts[index]);
    int code = SQLITE_OK;
    while ((code = rows->step()) == SQLITE_ROW)
      page.rows.push_back({{way.segment().journal, static_cast<std::uint64_t>(rows->integer(0))},
                           static_cast<std::uint64_t>(rows->integer(1)),
                           fact_of(*rows)});
    rows->reset();
    if (code != SQLITE_DONE) return inside_->fault();
    if (page.rows.size() >= limit) {
      way.stand_at(page.rows.back().event.seq, page.rows.back().n);
      page.more = true;
      page.next = way.cursor();
      return page;
    }
    if (!way.step(last_of)) {
      page.next = way.cursor();
      return page;
    }
  }
  if (broken) return tl::unexpected<Error>(std::move(*broken));
  page.next = way.cursor();
  page.more = true;
  return page;
}

Expected<std::vector<std::string>> Reader::mark_states(const std::vector<std::string>& facts) {
  std::vector<std::string> out;
  const auto path = current_path(inside_->connection);
  if (!path) return tl::unexpected<Error>(path.error());
  if (path->empty()) return std::vector<std::string>(facts.size());
  Statement* state = inside_->prepared(mark_state_sql(*path));
  if (state == nullptr) return inside_->fault();
  for (const auto& fact : facts) {
    state->bind_text(1, fact);
    if (!state->row()) return inside_->fault();
    const auto found = state->integer(0);
    out.emplace_back(found == 2 ? "suspect" : found == 1 ? "cleared" : "");
    state->reset();
  }
  return out;
}

Expected<EventPage> Reader::events_before(const Cursor& before, std::string_view kind, std::size_t limit) {
  auto place = inside_->locate(before.at_beginning() ? Cursor{} : before);
  if (!place) return tl::unexpected<Error>(place.error());
  EventPage page;
  if (place->path.empty() || limit == 0) return page;
  std::optional<Error> broken;
  const auto last_of = [&](const Segment& segment) {
    const auto last = inside_->last_seq(segment);
    if (!last) broken = last.error();
    return last.value_or(0);
  };
  const std::size_t from = before.at_beginning() ? place->path.size() - 1 : place->at.segment;
  WayBack way(place->path, from, before.at_beginning() ? last_of(place->path[from]) + 1 : place->at.seq + (place->at.n > 0 ? 1U : 0U), 0, false);
  const std::string sql =
      "SELECT " + entry_select() +
      " FROM entry WHERE branch = ?1 AND seq < ?2 AND seq > ?3 AND kind = ?4 ORDER BY seq "
      "DESC LIMIT ?5";
  for (int window = 0; window < windows_each_call && !broken; ++window) {
    Statement* rows = inside_->prepared(sql);
    if (rows == nullptr) return inside_->fault();
    rows->bind(1, way.segment().number);
    rows->bind(2, way.seq());
    rows->bind(3, way.lower());
    rows->bind_text(4, kind);
    rows->bind(5, static_cast<std::uint64_t>(limit - page.events.size()));
    int code = SQLITE_OK;
    while ((code = rows->step()) == SQLITE_ROW) page.events.push_back(event_of(*rows, way.segment().journal));
    rows->reset();
    if (code != SQLITE_DONE) return inside_->fault();
    if (page.events.size() >= limit) {
      way.stand_at(page.events.back().key.seq, 0);
      page.more = true;
      page.next = way.cursor();
      return page;
    }
    if (!way.step(last_of)) {
      page.next = way.cursor();
      return page;
    }
  }
  if (broken) return tl::unexpected<Error>(std::move(*broken));
  page.next = way.cursor();
  page.more = true;
  return page;
}

}  // namespace tallystick::record
