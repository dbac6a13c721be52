// What stands in memory, by owner: always the committed state. Plain data; `decide` reads it, `evolve` copies into it.
#pragma once

#include <boost/describe.hpp>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "daemon/checklist/edition.hpp"
#include "daemon/measure/derive.hpp"
#include "daemon/measure/stamp.hpp"
#include "daemon/shop/gauge_card.hpp"
#include "daemon/walk/fact.hpp"

namespace tallystick {
BOOST_DESCRIBE_STRUCT(Stamp, (), (utc_us, steady_ns, boot, clock))
}

namespace tallystick::walk {

/// One thing that a walk asks for: a place of a feature, or a member of a go / no-go plug.
struct Step {
  std::size_t feature = 0;   ///< index in the edition
  std::size_t place = 0;     ///< index of the place, or 0 / 1 for the go / no-go member
  checklist::StepKind kind = checklist::StepKind::reading;
};

/// A reading or an answer that counted.
struct Attempt {
  std::string event;         ///< key text; empty while the event itself is being decided
  std::string value, unit;   ///< exact decimal in the print's unit (mm where that has no finite decimal); "good" / "not_good" for answers
  std::string verdict;       ///< "accept" | "reject" | "undecided" | "" (judged only with the feature's other places)
  std::string gauge;
  bool typed = false, confirmed = false;
  bool aside = false;        ///< set aside by a retake: visible, decides nothing
  std::optional<derive::SweepFigures> sweep;   ///< of a sweep: what derived features draw on
  bool operator==(const Attempt&) const = default;
};
BOOST_DESCRIBE_STRUCT(Attempt, (), (event, value, unit, verdict, gauge, typed, confirmed, aside, sweep))

struct StepState {
  std::string status = "open";   ///< "open" | "done" | "passed"
  std::vector<Attempt> attempts;
  std::string reason;            ///< of a pass over or a retake
  bool retaken = false;
  bool operator==(const StepState&) const = default;
};
BOOST_DESCRIBE_STRUCT(StepState, (), (status, attempts, reason, retaken))

/// A part in a walk. Its id is the key of the event that began it; "<key>.<serial>" where it began several.
struct PartState {
  std::string key;           ///< empty in the event that begins it
  std::int64_t serial = 0;
  std::string stage;         ///< the part's own: a walk in process begins with first parts
  std::string machine, program, place_on_machine;
  Stamp begun;
  std::vector<std::size_t> asked;   ///< indices into the walk's steps, in plan order
  std::vector<StepState> steps;     ///< parallel to `asked`
  std::map<std::string, std::string> results;  ///< feature key -> "<event key>/<n>" of its newest result fact
  std::map<std::string, std::string> derived;  ///< derived feature -> verdict of its newest result
  bool held = false;         ///< a reject or an undecided result stands: no release without a disposition
  std::string end;           ///< "" | "accepted" | "rejected" | "undecided" | "incomplete" (a step was passed over)
  std::int64_t slot = 0;     ///< where on the tray it lies, from 1; 0: it was measured alone
  std::map<std::string, std::string> suspect_results;  ///< only these features are measured again: feature -> the suspect fact
  bool operator==(const PartState&) const = default;
};
BOOST_DESCRIBE_STRUCT(PartState, (), (key, serial, stage, machine, program, place_on_machine, begun, asked, steps, results,
  derived, held, end, slot, suspect_results))

/// Why a walk waits, and what it knows of it.
struct Hold {
  std::string kind;          ///< soft: value size unit zero wrong_gauge may_not_be_used nobody_told status;
                             ///< hard: setup_not_released no_gauge edition_withdrawn stopped
  bool hard = false;
  std::string event;         ///< of the reading held
  std::string gauge;
  std::string value, unit;   ///< as it would be judged
  std::string sent_value, sent_unit;
  std::string would_be;      ///< of a doubt about the unit
  std::string fits_size, fits_lower, fits_upper;
  std::string why;           ///< code
  std::optional<derive::SweepFigures> sweep;
  bool operator==(const Hold&) const = default;
};
BOOST_DESCRIBE_STRUCT(Hold, (), (kind, hard, event, gauge, value, unit, sent_value, sent_unit, would_be, fits_size, fits_lower,
  fits_upper, why, sweep))

/// A derived result that came with a reading, as it is shown.
struct LastDerived {
  std::string feature, balloon, name, value, unit, nominal, lower, upper, verdict, side, by;
  int decimals = 0;
  std::string computation, why;         ///< why: it could not be worked out, in words
  std::vector<derive::Line> working;
  bool operator==(const LastDerived&) const = default;
};
BOOST_DESCRIBE_STRUCT(LastDerived, (), (feature, balloon, name, value, unit, nominal, lower, upper, verdict, side, by, decimals,
  computation, why, working))

/// The last thing that came, as it is shown and, after a restart, repeated.
struct Last {
  std::string event, what;   ///< `what` as in VIEW.md
  std::int64_t serial = 0;
  std::string feature, place, balloon, name, kind, unit, value, lower, upper, nominal, verdict, side, by, gauge;
  int decimals = 0;
  std::string sent_value, sent_unit, edge, ruler, material, why;
  bool material_left = false, stands = false, measured_again = false, typed = false, confirmed = false;
  std::string result_verdict, result_value, result_least, result_greatest;
  std::string limits_of, judging, decision;   ///< which limits, method and rule a verdict stands on; empty: no verdict
  std::vector<LastDerived> derived;
  std::int64_t utc_us = 0;
  std::string zero, gain;    ///< of a setting: what the gauge is off on its first master; read difference over the masters'
  bool operator==(const Last&) const = default;
};
BOOST_DESCRIBE_STRUCT(Last, (), (event, what, serial, feature, place, balloon, name, kind, unit, value, lower, upper, nominal,
  verdict, side, by, gauge, decimals, sent_value, sent_unit, edge, ruler, material, why, material_left, stands, measured_again, typed,
  confirmed, result_verdict, result_value, result_least, result_greatest, limits_of, judging, decision, derived, utc_us, zero, gain))

/// Where the walk stands: small, copied whole into every outcome that changes it.
struct Standing {
  std::string life = "active";   ///< "active" | "parked" | "ended" | "given_up"
  std::size_t pointer = 0;       ///< index into the active part's `asked`
  bool in_previous = false;      ///< *again* reached back into the part before
  bool between = false;          ///< the next part waits for a key
  bool no_part_left = false;
  bool reject_stands = false;    ///< the last counted value stands rejected: the next press wants a longer look
  bool resumed = false;          ///< the last reading is to be repeated before anything counts
  std::string setting;           ///< gauge whose setting is asked for before any step
  std::optional<Hold> hold;
  std::optional<Last> last;      ///< the last thing shown
  std::optional<Last> counted;   ///< the last reading or answer that counted: what `resumed` repeats and *again* retakes
  std::string capture;           ///< gauge of a capture that has begun
  Stamp capture_begun;
  std::string asked_gauge;       ///< gauge that was asked, whose reply is awaited
  bool sure_to_end = false;      ///< *not good* was given once at the end of a part: once more ends the walk
  Stamp since;                   ///< of the last change
  bool operator==(const Standing&) const = default;
};
BOOST_DESCRIBE_STRUCT(Standing, (), (life, pointer, in_previous, between, no_part_left, reject_stands, resumed, setting, hold, last, counted,
  capture, capture_begun, asked_gauge, sure_to_end, since))

/// One step of a tray's plan: the part in a slot, and which of its `asked`.
struct TrayStep {
  std::int64_t slot = 0;
  std::size_t asked = 0;
  bool operator==(const TrayStep&) const = default;
};
BOOST_DESCRIBE_STRUCT(TrayStep, (), (slot, asked))

struct WalkState {
  std::string key, bench, lot, edition, stage, person;
  std::int64_t first = 0, last = 0;               ///< serials of this walk
  std::vector<std::size_t> order;                 ///< plan: indices into the edition's steps (see `steps_of`)
  std::map<std::string, std::string> tools;       ///< kind of plug or mating part -> id, stated once
  std::int64_t ended_parts = 0;
  Standing standing;
  std::optional<PartState> part, previous;
  std::int64_t tray = 0;                          ///< slots of a tray; 0: part by part
  std::map<std::string, PartState> others;        ///< the tray's parts but the one in hand (`part`), ended ones too, by slot
  std::vector<TrayStep> tray_order;               ///< the plan of the tray that lies there; empty: `part` is alone
  bool operator==(const WalkState&) const = default;
};
BOOST_DESCRIBE_STRUCT(WalkState, (), (key, bench, lot, edition, stage, person, first, last, order, tools, ended_parts, standing,
  part, previous, tray, others, tray_order))

struct BenchState {
  std::string bench, person;
  Stamp person_since;
  std::string walk;                    ///< the active one
  std::vector<std::string> parked;
  std::vector<std::string> displays;   ///< of this run of the daemon only
  std::optional<Last> last;            ///< of a setting without an active walk
  bool operator==(const BenchState&) const = default;
};
BOOST_DESCRIBE_STRUCT(BenchState, (), (bench, person, person_since, walk, parked, displays, last))

/// One part as the lot knows it: who has it, and how it came out. Keyed by "<stage group>/<serial>".
struct Claim {
  std::string walk, bench, part, end;  ///< `end` as in PartState, or "given_back"; "" while it is being measured
  std::vector<std::string> rejected;   ///< features whose reject stands; "?" where older records do not say which
  std::vector<std::string> rejected_by_decision;  ///< suspect results that were rejected without being measured again
  std::vector<std::string> again;      ///< features to be measured again, by a decision about suspect results
  std::string before;                  ///< while `again` is not empty: how it had come out before
  std::string disposition;             ///< "rework" | "scrap" | "use as is" | "return to supplier"; of a rejected part
  std::string released_utc, order;     ///< when it left the bench, and to which order; empty: it has not
  bool operator==(const Claim&) const = default;
};
BOOST_DESCRIBE_STRUCT(Claim, (), (walk, bench, part, end, rejected, rejected_by_decision, again, before, disposition, released_utc, order))

struct LotState {
  std::string key, lot_name, family, size, print_revision, part_number;
  std::int64_t first = 1, last = 1;
  std::string heat, machine, program, place_on_machine, order;
  std::string need;                    ///< "" | "first_part" | "release"
  bool then_release = true;            ///< a first part that is good needs a release too
  std::vector<std::string> named_features;  ///< asked of the next part besides
  std::string first_part_by;           ///< who measured the first part: somebody else releases
  std::string run_change;              ///< the last one
  std::string closed_utc, closed_by;   ///< no part is measured any more but those given back; empty: open
  std::map<std::string, Claim> claims;
  /// Keys of those claims that were given back, sorted: few, and free again. Follows from `claims`, so it is not kept.
  std::vector<std::string> given_back;
  bool operator==(const LotState&) const = default;
};
BOOST_DESCRIBE_STRUCT(LotState, (), (key, lot_name, family, size, print_revision, part_number, first, last, heat, machine,
  program, place_on_machine, order, need, then_release, named_features, first_part_by, run_change, closed_utc, closed_by, claims))

/// A result that a gauge had a part in since its last good reading on its master.
struct ResultMade {
  std::string fact;                    ///< "<event key>/<n>"; empty key part while the event is being decided
  std::string lot, lot_name, part, feature, walk, bench;
  std::int64_t serial = 0;
  std::string stage, size, balloon, feature_name;   ///< as its fact says them, for who has to decide about it
  std::string value, unit, lower, upper, verdict;
  bool operator==(const ResultMade&) const = default;
};
BOOST_DESCRIBE_STRUCT(ResultMade, (), (fact, lot, lot_name, part, feature, walk, bench, serial, stage, size, balloon, feature_name,
  value, unit, lower, upper, verdict))

struct GaugeState {
  shop::GaugeCard card;
  std::string fitness = "unset";       ///< "unset" | "fit" | "failed" (as found stood outside: as left is asked for)
  Stamp set_at;                        ///< of the last good reading on the master
  std::string set_event;
  std::int64_t parts_since = 0;
  std::string void_why;                ///< "person" | "port" | "restart": voided by an event; power is seen by the boot id
  Stamp void_at;                       ///< when that was
  std::vector<Attempt> as_found;       ///< of the setting that is going on
  std::string first_read;              ///< size read on the first of two masters: the second is asked for; empty: the first
  std::string zero, gain;              ///< of the last good setting, in the card's unit; as a plain decimal
  std::vector<ResultMade> since_good;
  std::string last_text;               ///< of the last reading offered: for duplicates
  Stamp last_at;
  bool operator==(const GaugeState&) const = default;
};
BOOST_DESCRIBE_STRUCT(GaugeState, (), (card, fitness, set_at, set_event, parts_since, void_why, void_at, as_found, since_good, last_text,
  last_at, first_read, zero, gain))

/// A published edition, by its SHA-256.
struct EditionState {
  std::string sha, family, size, print_revision, part_number;
  std::int64_t number = 0;
  std::string content_sha;             ///< of the worked-out content without its number
  bool withdrawn = false;
  bool operator==(const EditionState&) const = default;
};
BOOST_DESCRIBE_STRUCT(EditionState, (), (sha, family, size, print_revision, part_number, number, content_sha, withdrawn))

/// A result whose gauge later failed on its master.
struct Suspect {
  std::string fact, mark;              ///< the result's and the mark's keys
  std::string gauge, why, lot, lot_name, part, feature, bench;
  std::int64_t serial = 0;
  std::string since_utc;
  std::string stage, size, balloon, feature_name;   ///< of the result, as its fact says them
  std::string value, unit, lower, upper, verdict;
  std::string decision, decided_by, decided_utc;    ///< "measure_again" where that was decided and it waits; else empty
  bool operator==(const Suspect&) const = default;
};
BOOST_DESCRIBE_STRUCT(Suspect, (), (fact, mark, gauge, why, lot, lot_name, part, feature, bench, serial, since_utc, stage, size,
  balloon, feature_name, value, unit, lower, upper, verdict, decision, decided_by, decided_utc))

/// All owners. Loaded from a checkpoint and the events since; `Edition`s themselves lie in the record's blobs.
struct States {
  std::map<std::string, BenchState> benches;
  std::map<std::string, WalkState> walks;      ///< active and parked
  std::map<std::string, LotState> lots;
  std::map<std::string, GaugeState> gauges;
  std::map<std::string, EditionState> editions;
  std::map<std::string, Suspect> suspects;     ///< by the result's key
  bool operator==(const States&) const = default;
};
BOOST_DESCRIBE_STRUCT(States, (), (benches, walks, lots, gauges, editions, suspects))

}  // namespace tallystick::walk
