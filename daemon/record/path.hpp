// The current branch's path: which events count, in which order.
#pragma once

#include <vector>

#include "daemon/record/reader.hpp"
#include "daemon/record/sqlite.hpp"

namespace tallystick::record {

/// A branch on the path, and the last of its events that belongs to it.
struct Segment {
  std::int64_t number = 0;
  std::string journal;
  std::uint64_t last = 0;  ///< of the current branch: the greatest number there is
};
/// From the first branch to the current one. Error "cannot_read".
Expected<std::vector<Segment>> current_path(Connection& connection);
Expected<std::vector<Branch>> read_branches(Connection& connection);

/// Where on the path a cursor stands: go on in `segment` after `seq` and `n`.
struct Position {
  std::size_t segment = 0;
  std::uint64_t seq = 0, n = 0;
};
/// Errors "past_branch_point", "unknown_cursor", "cannot_read".
Expected<Position> position_of(Connection& connection, const std::vector<Segment>& path,
                               const Cursor& cursor);
std::optional<BranchPoint> branch_point_of(const std::vector<Segment>& path, const Cursor& cursor);

}  // namespace tallystick::record
