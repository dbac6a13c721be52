// The SQL of a page of facts.
#pragma once

#include <string>
#include <vector>

#include "daemon/record/path.hpp"

namespace tallystick::record {

enum class Route : std::uint8_t {
  key,      ///< along the table's key: no filter, or one without an index, window by window
  indexed,  ///< along the index of lot, part or walk
  time,     ///< along the index of the time: for a span that holds few facts
};
/// A query with its parameters: 1 branch, 2 seq, 3 n (both exclusive), 4 last seq, 5 limit, then `texts` from
/// 6 on. Columns: seq, n, and Fact's. The texts are views of the filter.
struct FactQuery {
  std::string sql;
  std::vector<std::string_view> texts;
};
bool has_indexed_filter(const FactFilter& filter);
bool has_filter(const FactFilter& filter);
/// `newest_first` turns the order round: (seq, n) is the exclusive upper end, and 4 the exclusive lower end of seq.
FactQuery fact_query(const FactFilter& filter, View view, const std::vector<Segment>& path,
                     const Segment& segment, Route route, bool newest_first = false);

/// Parameter 1: a fact's key. One row: 0 no suspect mark was ever on it, 1 all of them have ended, 2 one stands.
std::string mark_state_sql(const std::vector<Segment>& path);
/// Columns 2.. of a row of such a query.
Fact fact_of(const Statement& row);

}  // namespace tallystick::record
