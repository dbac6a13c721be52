// What became of a walk and of a part, told from the journal alone: every reading, retake, hold and mark in
// order, and the edition as it was at the walk's start. Applies no rule: outcomes are copied, as after a
// restart.
#pragma once

#include <boost/json.hpp>
#include <string>
#include <vector>

#include "daemon/record/reader.hpp"
#include "daemon/walk/captured.hpp"

namespace tallystick::record {

/// A walk in a list. Counts are as of now: what was overruled is not in them.
struct WalkRow {
  std::string walk, lot, lot_name, family, size, print_revision, stage, bench, person, edition, begun_utc;
  std::int64_t first = 0, last = 0;
  std::int64_t parts = 0, results = 0, rejects = 0, suspects = 0;
  bool operator==(const WalkRow&) const = default;
};
BOOST_DESCRIBE_STRUCT(WalkRow, (),
                      (walk, lot, lot_name, family, size, print_revision, stage, bench, person, edition,
                       begun_utc, first, last, parts, results, rejects, suspects))

/// A part, as one walk measured it.
struct PartRow {
  std::string part, serial, lot, lot_name, family, size, stage, walk, bench, person, first_utc, last_utc;
  std::int64_t results = 0, rejects = 0, suspects = 0;
  bool operator==(const PartRow&) const = default;
};
BOOST_DESCRIBE_STRUCT(PartRow, (),
                      (part, serial, lot, lot_name, family, size, stage, walk, bench, person, first_utc,
                       last_utc, results, rejects, suspects))

/// A page of a list, newest first. `more`: go on from `next` (one call looks through a bounded part of the
/// record, so a page may be short or empty and still have more).
template <class Row>
struct Back {
  std::vector<Row> rows;
  Cursor next;
  bool more = false;
};

/// Walks that began, newest first: those of the filter's lot, and where the filter asks for more than a lot,
/// those that have a fact which it lets through.
Expected<Back<WalkRow>> walks_before(Reader& reader, const Cursor& before, const FactFilter& filter,
                                     View view, std::size_t limit);

/// Parts that have a fact which the filter lets through, each once, at its newest such fact up to `until`
/// (where the first page began; empty: now).
Expected<Back<PartRow>> parts_before(Reader& reader, const Cursor& before, const Cursor& until,
                                     const FactFilter& filter, View view, std::size_t limit);

/// One line of a history. What does not apply is empty.
struct HistoryLine {
  std::string key, utc, clock, kind, walk, bench, person, gauge;
  std::string part, serial;  ///< the one that was in hand
  std::string what, why;     ///< the outcome's words: "counted", "held", "too_early", "retake", ...
  std::string feature, balloon, name, place, step_kind;
  std::string value, unit, lower, upper, verdict, side, by;
  std::string sent_value, sent_unit, raw_hex;
  std::string hold, fits_size;  ///< kind of the hold that this event began
  std::string reason, note;
  bool typed = false, confirmed = false, stands = false, measured_again = false;
  std::vector<std::string> facts;  ///< keys of its facts
  std::optional<walk::CaptureNamed> capture;  ///< what was captured, and the name of its samples
  bool operator==(const HistoryLine&) const = default;
};
BOOST_DESCRIBE_STRUCT(HistoryLine, (),
                      (key, utc, clock, kind, walk, bench, person, gauge, part, serial, what, why, feature,
                       balloon, name, place, step_kind, value, unit, lower, upper, verdict, side, by,
                       sent_value, sent_unit, raw_hex, hold, fits_size, reason, note, typed, confirmed,
                       stands, measured_again, facts, capture))

struct HistoryFact {
  std::string key;
  Fact fact;
  std::string overruled_by;  ///< key of the fact that overrules it or ends its mark; empty: it stands
  std::vector<std::string> marked_by;  ///< keys of the marks on it
};

struct History {
  std::string lot, lot_name, family, size, serial;
  std::vector<HistoryLine> lines;  ///< in the journal's order
  std::vector<HistoryFact> facts;
  /// The editions as they were at each walk's start: SHA-256 and bytes, in the order of the walks.
  std::vector<std::pair<std::string, std::string>> editions;
  std::vector<std::string> walks;
};

/// Everything about a part: `part` is the key of any event that began it. All walks of its lot that gave a
/// fact about the same serial, and what was marked later. Errors: "unknown_part", those of the reader.
Expected<History> part_history(Reader& reader, std::string_view part);
/// Everything about a walk. Error "unknown_walk".
Expected<History> walk_history(Reader& reader, std::string_view walk);

}  // namespace tallystick::record
