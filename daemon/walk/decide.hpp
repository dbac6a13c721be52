// The sequencer's rules: what an input means in the state that it finds. Pure: the clock, the configuration and what
// was told are handed in. `evolve` (outcome.hpp) then only copies.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "daemon/walk/event.hpp"
#include "daemon/walk/input.hpp"
#include "daemon/walk/outcome.hpp"
#include "daemon/walk/prepared.hpp"

namespace tallystick::walk {

/// Version of the rules, kept beside each event.
inline constexpr int rules_version = 1;

/// A plug, pin or mating part that can be stated in a walk.
struct Tool {
  std::string id, kind;
  bool may_be_used = true;
  std::string why_not;
};

/// What follows a run change.
struct RunChangeRule {
  std::string change;
  std::string follows;       ///< "nothing" | "features_named" | "first_part" | "first_part_and_release"
};

/// What the configuration says, as far as the rules need it.
struct ShopWords {
  std::vector<std::string> retake_reasons, pass_reasons, set_aside_reasons, suspect_reasons, disposition_reasons;
  std::vector<RunChangeRule> run_changes;
  std::vector<Tool> tools;
  std::vector<std::string> benches;
};

/// An edition that the configuration works out now, ready to be published.
struct Candidate {
  checklist::Edition edition;             ///< number 0
  std::optional<Attachment> drawing;
};

struct Context {
  Stamp started;                          ///< of this run of the daemon
  const Catalogue* editions = nullptr;
  const ShopWords* words = nullptr;
  const std::vector<Candidate>* candidates = nullptr;
  /// ask -> when it was told to a display that is still there.
  const std::map<std::string, Stamp>* told = nullptr;
  std::optional<ToldKept> told_to_keep;   ///< rides with this event
};

/// Owners that an event writes or depends on, as "bench/bench-1", "lot/<key>", in the fixed order.
using Owners = std::vector<std::string>;

struct Decision {
  Outcome outcome;
  std::vector<Attachment> attachments;
  Owners owners;
  std::string walk, lot, gauge, person;   ///< who it is about, for the journal's columns
};

/// Applies every rule. Errors are refusals of commands (nothing is kept): "moved_on", "not_now", "unknown_...",
/// "wrong_shape", "refused". A reading is never refused: what does not count is kept and says why.
Expected<Decision> decide(const States& states, const Input& input, const Context& context);

/// Id of what a bench asks for now; changes whenever a press or a key would mean something else.
std::string present_ask(const WalkState& walk);
/// Id of a gauge's setting that is asked for.
std::string setting_ask(const GaugeState& gauge);

/// The master that a gauge's setting asks for now: its only one, or the first or the second of two.
struct SettingPoint {
  std::string master, size, limit, uncertainty, due;
  bool second = false;
};
SettingPoint setting_point(const GaugeState& gauge);
/// Where the reading on it must lie: the master's own size, within the limit less the master's uncertainty.
Expected<Limits> limits_at(const SettingPoint& point, Unit unit);
/// The master's calibration is overdue: it may not be used.
bool overdue(const SettingPoint& point, const Stamp& now);

/// "" when the gauge need not be set now, else why: "never_set" "failed" "power" "restart" "person" "port" "hours" "parts"
/// "second_point" (of two masters the second is still to be read).
std::string setting_due(const GaugeState& gauge, const Context& context, const Stamp& now);
/// When it was due by time (for grace); nullopt where it is due by an event.
std::optional<std::int64_t> setting_void_at_utc_us(const GaugeState& gauge);

/// "in_process" for setup, first part, in process and last part; "final", "after_finish".
std::string stage_group(const std::string& stage);

/// What the three actions would do now: a word of VIEW.md's `actions.does`, or "" for nothing.
struct ActionWords {
  std::string good, not_good, again;
};
ActionWords actions_now(const States& states, const WalkState& walk, const Context& context);
/// How the present step is captured; null where it is not, or by one frame alone.
const CaptureRule* capture_rule(const WalkState& walk, const Context& context);
/// VIEW.md's `state`.
std::string situation(const WalkState& walk);

/// The gauges of the walk's bench that serve a step: by card, kind and fitness (one that is merely due for
/// setting serves).
std::vector<std::string> serving_gauges(const States& states, const WalkState& walk, const PreparedEdition& edition,
                                        std::size_t step);
const PreparedEdition* edition_of(const WalkState& walk, const Context& context);
/// The walk's parts lie on a tray, and the active part is one of them (not the part before).
bool in_tray(const WalkState& walk);
/// The plan's next open step on the tray, from the present one on or after it. Precondition: in_tray(walk).
std::optional<TrayStep> next_on_tray(const WalkState& walk, bool after_present);
/// How many attempts of a step count (are not set aside).
std::size_t counted_attempts(const StepState& step);

}  // namespace tallystick::walk
