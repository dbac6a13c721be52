// What `decide` decided: all that `evolve`, a restart and an outsider's verifier need. Kept as JSON in the journal.
#pragma once

#include <boost/describe.hpp>
#include <boost/json.hpp>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "daemon/walk/captured.hpp"
#include "daemon/walk/fact.hpp"
#include "daemon/walk/state.hpp"

namespace tallystick::walk {

/// A tray that begins, besides `WalkChange::part`, which lies in the slot that its plan begins with.
struct TrayBegun {
  std::map<std::string, PartState> others;
  std::vector<TrayStep> order;
  bool operator==(const TrayBegun&) const = default;
};
BOOST_DESCRIBE_STRUCT(TrayBegun, (), (others, order))

/// What becomes of one walk. Members that are absent stay as they are.
struct WalkChange {
  std::optional<WalkState> begun;                 ///< whole, when it begins or another person takes it over
  bool gone = false;                              ///< ended or given up: leaves the memory, stays in the journal
  std::optional<Standing> standing;
  std::optional<PartState> part;                  ///< a part that begins (or begins anew), whole
  std::optional<PartState> previous;              ///< the part before begins anew after *again* reached back, whole
  std::map<std::string, StepState> steps;         ///< index in `asked` of the active part -> its new state
  std::map<std::string, StepState> previous_steps;  ///< likewise of the part before
  std::map<std::string, std::string> results;     ///< of the active part: feature -> "<n>" of this event's fact
  std::map<std::string, std::string> previous_results;
  std::map<std::string, std::string> derived;     ///< of the active part: derived feature -> verdict
  std::map<std::string, std::string> previous_derived;
  std::optional<bool> held;                       ///< of the active part
  std::optional<bool> previous_held;
  std::string ended;                              ///< the active part's end; it becomes the part before
  std::string previous_ended;                     ///< the part before ended again after a retake
  std::optional<std::string> person;
  std::map<std::string, std::string> tools;       ///< stated now
  // Of a tray, in this order: `reach`, what else is written of the part in hand, `turn`, `tray_ended`, `tray`.
  std::string reach;                              ///< slot whose part is taken in hand before anything is written
  bool reopened = false;                          ///< the part in hand had ended and is open again
  std::string tray_part_ended;                    ///< end of the part in hand, which stays on the tray
  std::string turn;                               ///< slot whose part is taken in hand after everything was written
  std::string tray_ended;                         ///< the tray is done; the part of this slot becomes the part before
  std::optional<TrayBegun> tray;
  bool operator==(const WalkChange&) const = default;
};
BOOST_DESCRIBE_STRUCT(WalkChange, (), (begun, gone, standing, part, previous, steps, previous_steps, results, previous_results, derived, previous_derived, held,
  previous_held, ended, previous_ended, person, tools, reach, reopened, tray_part_ended, turn, tray_ended, tray))

struct LotChange {
  std::optional<LotState> opened;                 ///< whole
  std::map<std::string, Claim> claims;            ///< new or changed
  std::optional<std::string> need, first_part_by, run_change;
  std::optional<bool> then_release;
  std::optional<std::vector<std::string>> named_features;
  std::map<std::string, std::string> run;         ///< machine, program, place_on_machine, heat as changed
  std::optional<std::string> closed_utc, closed_by;
  bool operator==(const LotChange&) const = default;
};
BOOST_DESCRIBE_STRUCT(LotChange, (), (opened, claims, need, first_part_by, run_change, then_release, named_features, run, closed_utc, closed_by))

struct GaugeChange {
  std::optional<shop::GaugeCard> card;            ///< registered or changed
  std::optional<std::string> fitness, void_why, last_text, first_read, zero, gain;
  std::optional<Stamp> last_at, void_at;
  bool set_now = false;                           ///< a good reading on the master: `set_at` is the event's stamp
  std::optional<std::int64_t> parts_since;
  std::optional<std::vector<Attempt>> as_found;
  std::vector<ResultMade> made;                   ///< added to `since_good`; `fact` is "<n>" of this event
  std::vector<std::string> forgotten;             ///< facts that no longer count (overruled by a retake)
  bool forget_all = false;                        ///< the results made are proven good, or marked suspect
  bool operator==(const GaugeChange&) const = default;
};
BOOST_DESCRIBE_STRUCT(GaugeChange, (), (card, fitness, void_why, last_text, last_at, void_at, set_now, parts_since, as_found, made,
  forgotten, forget_all, first_read, zero, gain))

/// That something was told to a display rides with the next event.
struct ToldKept {
  std::string ask, display;
  std::int64_t utc_us = 0;
  bool operator==(const ToldKept&) const = default;
};
BOOST_DESCRIBE_STRUCT(ToldKept, (), (ask, display, utc_us))

struct Outcome {
  std::string what;                               ///< as in VIEW.md's `last.what`, or what a command did
  std::string why;                                ///< code, where something was not counted
  std::string tone;                               ///< the sound of it
  std::map<std::string, BenchState> benches;      ///< whole (they are small)
  std::map<std::string, WalkChange> walks;        ///< by key; "" is the walk that this event begins
  std::map<std::string, LotChange> lots;          ///< likewise
  std::map<std::string, GaugeChange> gauges;
  std::map<std::string, EditionState> editions;
  std::map<std::string, Suspect> suspects;        ///< new, by the result's key; `mark` is "<n>" of this event
  std::map<std::string, Suspect> decided;         ///< suspects about which was decided and that stay, whole
  std::vector<std::string> cleared;               ///< suspects that a new result replaced, or a decision ended
  std::optional<ToldKept> told;
  boost::json::value answer;                      ///< for the sender of a command
  std::vector<Fact> facts;
  std::string ask_gauge;                          ///< effect: ask this gauge
  std::optional<CaptureNamed> capture;            ///< what was captured; its samples lie in the record by its SHA-256
  bool operator==(const Outcome&) const = default;
};
BOOST_DESCRIBE_STRUCT(Outcome, (), (what, why, tone, benches, walks, lots, gauges, editions, suspects, decided, cleared, told, answer,
  facts, ask_gauge, capture))

/// Copies a committed outcome into the state: applies no rule. `key` is the event's, `stamp` its input's.
void evolve(States& states, const Outcome& outcome, const Key& key, const Stamp& stamp);
/// On a tray: the part in hand goes back to its slot, that of `slot` comes into the hand. Nothing where either is missing.
void take_in_hand(WalkState& walk, const std::string& slot);

}  // namespace tallystick::walk
