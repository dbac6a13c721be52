// What is given on: one fact is one row of the exports and of the query tables.
#pragma once

#include <boost/describe.hpp>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace tallystick {

/// Names an event: "<journal id, 32 hex>-<seq>"; a fact is named by its event and its `n` in it.
/// Ids that the daemon makes (walk, part, lot, hold) are the key of the event that made them.
struct Key {
  std::string journal;      ///< 32 hex digits; empty: no key
  std::uint64_t seq = 0;    ///< from 1 in each branch

  bool empty() const { return journal.empty(); }
  auto operator<=>(const Key&) const = default;
};
std::string text(const Key& key);              ///< "" for an empty key
std::optional<Key> key_from(std::string_view text);

/// Which part and which feature a fact is about: its first members (a description holds no more than 52).
struct FactSubject {
  std::string kind;            ///< "result" | "mark" | "correction" | "disposition" | "release"
  std::string overrules;       ///< "<event key>/<n>" of the fact that this one overrules or marks
  // which part
  std::string family, size, print_revision, part_number, lot, lot_name, part, serial, slot, stage;
  // which feature
  std::string feature, place, balloon, feature_name, feature_class, step_kind;   // step_kind: the feature's kind
  bool operator==(const FactSubject&) const = default;
};
BOOST_DESCRIBE_STRUCT(FactSubject, (), (kind, overrules, family, size, print_revision, part_number, lot, lot_name,
  part, serial, slot, stage, feature, place, balloon, feature_name, feature_class, step_kind))

/// One row that is given on. All values that were judged are exact decimal text in `unit`. Empty text means
/// "does not apply". Facts never change: a later one names the one that it overrules.
/// Every member is a column of the query table `fact` and of the exports, in this order.
struct Fact : FactSubject {
  // what came out
  std::string verdict;         ///< "accept" | "reject" | "undecided"; empty: taken, not judged by itself; for marks "suspect" | "cleared"
  std::string value, unit, nominal, lower, upper;
  std::string side, by;        ///< of a reject: which limit, and by how much
  std::string least, greatest; ///< of several readings
  std::string reduction;
  std::string limits_of;       ///< "print" | "before_finish" (moved by what the finish adds); empty: nothing was judged
  std::string judging;         ///< "absolute" | "half_even" | "half_up" (rounded to the limits' last place first)
  std::string decision;        ///< "simple" | "stringent" (guard band: the uncertainty)
  std::string uncertainty;     ///< expanded, in `unit`; empty: not stated
  std::string conformance;     ///< probability that the true value lies within the limits; empty: no uncertainty, or no length
  std::string working;         ///< of a derived feature: how it was made, JSON (working.hpp)
  bool measured_again = false; ///< a reject was followed by an accept, or a retake was asked for
  bool typed = false;          ///< a person typed it: for ever
  bool confirmed = false;      ///< "it really is so" was said to an implausible value
  std::string reason;          ///< of a retake, a pass over, a mark
  std::string note;
  // with what, by whom, when
  std::string gauge, gauge_kind, master;
  std::string readings;        ///< keys of the events whose readings decided, blank between
  std::string edition;         ///< SHA-256 of the edition
  std::int64_t edition_number = 0;
  std::string bench, walk;
  std::string person;          ///< as stated
  std::string person_how;      ///< "name stated, not signed in"
  std::string machine, program, place_on_machine, heat;
  std::string measured_utc;    ///< ISO 8601, Z
  std::string clock;           ///< "trusted" | "untrusted"

  bool operator==(const Fact&) const = default;
};
BOOST_DESCRIBE_STRUCT(Fact, (FactSubject), (verdict, value, unit, nominal, lower, upper, side, by, least, greatest,
  reduction, limits_of, judging, decision, uncertainty, conformance, working, measured_again, typed, confirmed, reason,
  note, gauge, gauge_kind, master, readings, edition, edition_number, bench, walk, person, person_how, machine, program,
  place_on_machine, heat, measured_utc, clock))

}  // namespace tallystick
