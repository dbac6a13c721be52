// A position in the record, between two facts or two events.
#pragma once

#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"
#include "daemon/walk/fact.hpp"

namespace tallystick::record {

/// "Everything up to and including fact `n` of event `seq` is known." An empty journal id is the beginning.
/// For events only `seq` counts. Clients treat the text as opaque and hand back what they were given.
struct Cursor {
  std::string journal;
  std::uint64_t seq = 0;
  std::uint64_t n = 0;

  bool at_beginning() const { return journal.empty(); }
  bool operator==(const Cursor&) const = default;
};
std::string text(const Cursor& cursor);  ///< "" at the beginning
/// Error "not_a_cursor".
Expected<Cursor> cursor_from(std::string_view text);

/// "<event key>/<n>"; n counts an event's facts from 1, in the order of outcome.facts.
std::string fact_key(const Key& event, std::uint64_t n);

}  // namespace tallystick::record
