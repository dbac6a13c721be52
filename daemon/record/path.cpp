#include "daemon/record/path.hpp"

#include <algorithm>
#include <limits>

namespace tallystick::record {

namespace {

constexpr auto greatest_seq = static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max());

auto find_segment(const std::vector<Segment>& path, const std::string& journal) {
  return std::find_if(path.begin(), path.end(), [&](const Segment& one) { return one.journal == journal; });
}

}  // namespace

Expected<std::vector<Branch>> read_branches(Connection& connection) {
  Statement rows(connection,
                 "SELECT number, journal, parent, parent_seq, parent_hash, who, why, utc_us, "
                 "(SELECT coalesce(max(seq), 0) FROM entry WHERE entry.branch = branch.number) "
                 "FROM branch ORDER BY number");
  if (!rows.ready()) return tl::unexpected<Error>(connection.fault("cannot_read"));
  std::vector<Branch> out;
  int code = SQLITE_OK;
  while ((code = rows.step()) == SQLITE_ROW)
    out.push_back({rows.integer(0), std::string(rows.text(1)), rows.integer(2),
                   static_cast<std::uint64_t>(rows.integer(3)), std::string(rows.blob(4)),
                   std::string(rows.text(5)), std::string(rows.text(6)), rows.integer(7),
                   static_cast<std::uint64_t>(rows.integer(8))});
  if (code != SQLITE_DONE) return tl::unexpected<Error>(connection.fault("cannot_read"));
  return out;
}

Expected<std::vector<Segment>> current_path(Connection& connection) {
  auto branches = read_branches(connection);
  if (!branches) return tl::unexpected<Error>(branches.error());
  std::vector<Segment> path;
  if (branches->empty()) return path;
  std::int64_t number = branches->back().number;
  std::uint64_t last = greatest_seq;
  // A parent's number is always the smaller one; anything else is damage, and must not make this loop for
  // ever.
  for (auto at = branches->rbegin(); at != branches->rend(); ++at) {
    if (at->number != number) continue;
    path.push_back({at->number, at->journal, last});
    number = at->parent;
    last = at->parent_seq;
  }
  std::reverse(path.begin(), path.end());
  return path;
}

std::optional<BranchPoint> branch_point_of(const std::vector<Segment>& path, const Cursor& cursor) {
  const auto segment = find_segment(path, cursor.journal);
  if (segment == path.end() || cursor.seq <= segment->last) return std::nullopt;
  return BranchPoint{{segment->journal, segment->last},
                     {segment->journal, segment->last, greatest_seq >> 32}};
}

Expected<Position> position_of(Connection& connection, const std::vector<Segment>& path,
                               const Cursor& cursor) {
  if (cursor.at_beginning()) return Position{};
  const auto segment = find_segment(path, cursor.journal);
  if (segment == path.end())
    return fail("unknown_cursor", "the cursor is of a journal that this record does not hold", text(cursor),
                "begin anew without a cursor: facts are known by their keys, so nothing is taken twice");
  if (const auto point = branch_point_of(path, cursor))
    return fail("past_branch_point",
                "the cursor names events after " + tallystick::text(point->point) +
                    ", where the present branch of the record begins",
                tallystick::text(point->point), "go on with the cursor " + text(point->go_on));
  if (segment + 1 == path.end() && cursor.seq > 0) {
    Statement there(connection, "SELECT 1 FROM entry WHERE branch = ? AND seq = ?");
    if (!there.ready()) return tl::unexpected<Error>(connection.fault("cannot_read"));
    there.bind(1, segment->number);
    there.bind(2, cursor.seq);
    const int code = there.step();
    if (code == SQLITE_DONE)
      return fail("unknown_cursor", "the cursor names an event that the record does not hold", text(cursor),
                  "begin anew without a cursor: facts are known by their keys, so nothing is taken twice");
    if (code != SQLITE_ROW) return tl::unexpected<Error>(connection.fault("cannot_read"));
  }
  return Position{static_cast<std::size_t>(segment - path.begin()), cursor.seq, cursor.n};
}

}  // namespace tallystick::record
