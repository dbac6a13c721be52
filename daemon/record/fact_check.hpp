// Whether the query table holds exactly the facts that an event's outcome names.
#pragma once

#include <boost/json/monotonic_resource.hpp>
#include <optional>
#include <string>

#include "daemon/record/sqlite.hpp"

namespace tallystick::record {

/// Goes along the fact rows of one branch while the events are gone through in order.
class FactCheck {
 public:
  /// Facts of `branch` after `seq`. The connection is in one read transaction while this lives.
  FactCheck(const Connection& connection, std::int64_t branch, std::uint64_t after_seq);
  bool ready() const { return rows_.ready(); }

  /// What differs for the event `seq` with this outcome, if anything. Counts its rows into `facts`.
  std::optional<std::string> compare(std::uint64_t seq, std::string_view outcome, std::uint64_t& facts);
  /// A fact that is left over, of an event after `seq`: "seq/n".
  std::optional<std::string> left_over();

 private:
  bool at(std::uint64_t seq) const { return there_ && static_cast<std::uint64_t>(rows_.integer(0)) == seq; }
  void next() { there_ = rows_.row(); }
  Statement rows_;
  bool there_ = false;
  std::array<unsigned char, 16384> room_{};
};

}  // namespace tallystick::record
