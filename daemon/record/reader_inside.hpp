// What the files that read the record share. Inside this room only.
#pragma once

#include <algorithm>
#include <unordered_map>

#include "daemon/record/fact_query.hpp"
#include "daemon/record/path.hpp"

namespace tallystick::record {

/// Events looked through in one read where a filter has no index: some ten milliseconds.
inline constexpr std::uint64_t window_events = 20000;
/// As `n` of a position: all facts of its event were looked at.
inline constexpr std::uint64_t all_of_event = 0x7fffffff;

/// A row of `entry_select()`.
Event event_of(const Statement& row, const std::string& journal);

struct Reader::Inside {
  Connection connection;
  std::unordered_map<std::string, Statement> statements;

  tl::unexpected<Error> fault() const { return tl::unexpected<Error>(connection.fault("cannot_read")); }

  /// Prepared once; nothing when it cannot be.
  Statement* prepared(const std::string& sql) {
    // Texts vary with filters and branches: a bound keeps odd callers from filling the memory.
    if (statements.size() > 200) statements.clear();
    auto [at, made] = statements.try_emplace(sql);
    if (made) at->second = Statement(connection, sql);
    if (!at->second.ready()) {
      statements.erase(at);
      return nullptr;
    }
    at->second.reset();
    return &at->second;
  }

  struct Place {
    std::vector<Segment> path;
    Position at;
  };
  Expected<Place> locate(const Cursor& cursor) {
    auto path = current_path(connection);
    if (!path) return tl::unexpected<Error>(path.error());
    auto at = position_of(connection, *path, cursor);
    if (!at) return tl::unexpected<Error>(at.error());
    return Place{std::move(*path), *at};
  }

  Expected<std::uint64_t> last_seq(const Segment& segment) {
    Statement* last = prepared("SELECT coalesce(max(seq), 0) FROM entry WHERE branch = ?");
    if (last == nullptr) return fault();
    last->bind(1, segment.number);
    if (!last->row()) return fault();
    const auto seq = static_cast<std::uint64_t>(last->integer(0));
    last->reset();
    return std::min(seq, segment.last);
  }

  /// How far the finder has come in a branch.
  Expected<std::uint64_t> finder_reach(const Segment& segment) {
    Statement* reach = prepared("SELECT coalesce(max(seq), 0) FROM finder_reach WHERE branch = ?");
    if (reach == nullptr) return fault();
    reach->bind(1, segment.number);
    if (!reach->row()) return fault();
    const auto seq = static_cast<std::uint64_t>(reach->integer(0));
    reach->reset();
    return std::min(seq, segment.last);
  }

  Expected<Route> route_of(const FactFilter& filter, const Segment& segment);
  Expected<bool> sweep_segment(const FactFilter& filter, View view, const std::vector<Segment>& path,
                               const Segment& segment, std::size_t limit, Swept& swept, RawFact& fact,
                               const std::function<bool(const RawFact&)>& row);
  Expected<bool> add_found_events(const Segment& segment, std::string_view walk, std::size_t limit, std::uint64_t reach,
                                  EventPage& page);
  Expected<bool> add_events(const Segment& segment, std::string_view walk, std::size_t limit,
                            EventPage& page);
};

}  // namespace tallystick::record
