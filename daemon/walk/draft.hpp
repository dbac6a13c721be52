// Working copies that the rules write while they decide, and the outcome that comes of them. Inside the walk room only.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>

#include "daemon/walk/decide.hpp"

namespace tallystick::walk {

/// A walk while it is being decided: a copy of its state, and which of its steps were written.
struct WalkDraft {
  WalkState state;
  const WalkState* before = nullptr;     ///< null: this event begins it
  const PreparedEdition* edition = nullptr;
  WalkChange change;
  std::set<std::size_t> touched, previous_touched;

  PartState& part() { return state.standing.in_previous ? *state.previous : *state.part; }
  const PartState& part() const { return state.standing.in_previous ? *state.previous : *state.part; }
  bool has_part() const { return state.standing.in_previous ? state.previous.has_value() : state.part.has_value(); }
  /// The step's state, marked as written.
  StepState& touch(std::size_t asked);
  const Step& step(std::size_t asked) const { return edition->steps[part().asked[asked]]; }
  const checklist::Feature& feature(std::size_t asked) const { return edition->edition.features[step(asked).feature]; }
  const PreparedFeature& prepared(std::size_t asked) const { return edition->features[step(asked).feature]; }
};

/// Results made since the last good setting are added by `change.made` and read from `before`: they are many, and a
/// reading must not cost what a whole day has made.
struct GaugeDraft {
  GaugeState state;                      ///< without `since_good`
  const GaugeState* before = nullptr;    ///< null: it is registered by this event
  GaugeChange change;
};

/// A lot while it is being decided. Its claims, one a part, are not copied: those written here lie over those before.
struct LotDraft {
  LotState state;                        ///< without `claims`
  const LotState* before = nullptr;      ///< null: this event opens it
  std::map<std::string, Claim> written;
  LotChange change;

  bool opened() const { return before == nullptr; }
  /// The claim as it stands now; null: none.
  const Claim* claim(const std::string& key) const;
  Claim& write(const std::string& key);
};

class Draft {
 public:
  Draft(const States& before, const Input& given, const Context& around)
      : states(before), input(given), context(around) {}

  const States& states;
  const Input& input;
  const Context& context;
  Outcome out;
  std::vector<Attachment> attachments;
  std::size_t parts_begun = 0;           ///< by this event
  std::string about_walk, about_lot, about_gauge, person;

  /// Working copies, made at first touch. Preconditions: the owner exists.
  BenchState& bench(const std::string& id);
  WalkDraft& walk(const std::string& key);
  GaugeDraft& gauge(const std::string& id);
  LotDraft& lot(const std::string& key);
  WalkDraft& begin_walk(WalkState state, const PreparedEdition* edition);
  LotDraft& open_lot(LotState state);
  /// A state to read: the working copy where there is one.
  const GaugeState* look_at_gauge(const std::string& id) const;
  std::vector<std::string> gauges_of_bench(const std::string& bench) const;

  const Stamp& now() const { return input.stamp; }
  /// When `ask` was told to a display that is still there.
  std::optional<Stamp> told(const std::string& ask) const;

  /// What holds after every change of a walk (see refresh).
  void refresh_walks() {
    for (auto& [key, walk] : walks_) refresh_walk(walk);
  }
  Decision finish();

 private:
  friend struct DraftProbe;   // a test compares the working copies with what `evolve` makes of the outcome
  void refresh_walk(WalkDraft& walk);
  std::map<std::string, BenchState> benches_;
  std::map<std::string, WalkDraft> walks_;
  std::map<std::string, GaugeDraft> gauges_;
  std::map<std::string, LotDraft> lots_;
};

/// A value on its way to be judged.
struct Offered {
  std::string gauge;             ///< empty: typed
  Quantity value;
  std::string sent_value, sent_unit;
  bool unit_in_frame = true, typed = false, confirmed = false;
  GaugeStatus status = GaugeStatus::ok;
  std::optional<derive::SweepFigures> sweep;   ///< of a sweep
};

/// What the readings behind a result say together.
struct ReadingsBehind {
  std::string readings, gauges, reason;    ///< keys and ids, blank between
  bool again = false, typed = false, confirmed = false;
  void add(const StepState& step, const Attempt& attempt);
};

// ---- parts and steps (part_rules.cpp)
/// Begins the walk's next part, or says why not (hard hold, waits for a key, none left).
void begin_next_part(Draft& draft, WalkDraft& walk, bool by_key);
/// Counts a value or an answer at a step of the active part, and lets the walk go on.
void count_value(Draft& draft, WalkDraft& walk, std::size_t asked, const Offered& offered);
void count_answer(Draft& draft, WalkDraft& walk, std::size_t asked, bool good);
/// Opens a step again; its attempts are set aside.
void reopen(WalkDraft& walk, std::size_t asked, const std::string& reason, const std::string& only_event = {});
void pass_over(Draft& draft, WalkDraft& walk, std::size_t asked, const std::string& reason);
/// A hard hold was lifted: the walk goes on where it stood, also where that was a part's end.
void go_on_after_hold(Draft& draft, WalkDraft& walk);
/// The whole active part anew: everything read from it in this walk is set aside.
void part_anew(Draft& draft, WalkDraft& walk);
/// After every change: which setting comes first, and whether any gauge serves at all.
void refresh(Draft& draft, WalkDraft& walk);
bool part_touched(const PartState& part);
/// Something was ever read from it in this walk, set aside or not: such a part does not go back to the lot unmeasured.
bool part_ever_read(const PartState& part);
/// A part that was begun may be finished with a gauge that is due for this reason.
bool in_grace(const Draft& draft, const GaugeState& gauge, const std::string& why);

/// Part `serial` as it begins: claimed at the lot, its steps in plan order. It is not yet in the walk.
PartState new_part(Draft& draft, WalkDraft& walk, LotDraft& lot, std::int64_t serial);
/// The gauge of the bench that would serve the feature, for a plan; "" where it needs none or none serves it.
std::string planned_gauge(const Draft& draft, const PreparedEdition& prepared, const checklist::Feature& feature,
                          const std::string& bench);

// ---- claims (claims.cpp)
/// Key of a part's claim at its lot.
std::string claim_key(const std::string& stage, std::int64_t serial);
/// The lowest serials of the walk that nobody has, or that were given back, at most `most`. Looks at those given
/// back and from the walk's newest part on, so it costs the same in a long lot.
std::vector<std::int64_t> free_serials(const WalkState& walk, const LotDraft& lot, std::size_t most);
/// The part is the walk's. What is known of it stays: that it was released, and what is to be measured again.
void claim_part(LotDraft& lot, const WalkDraft& walk, const PartState& part);
/// The part has its end: written into its claim, with the features whose reject stands. Of a part of which only suspect
/// results were measured again, what was found before stays: it may turn the end into "rejected" or "incomplete".
void note_end(LotDraft& lot, const WalkDraft& walk, PartState& part);
/// The walk goes: parts without an end go back to the lot, or, where anything was read from them, end incomplete.
void give_parts_back(Draft& draft, const WalkState& walk);
/// The walk is over, "ended" or "given_up": its bench is free, its unfinished parts go back.
void end_walk(Draft& draft, WalkDraft& walk, const std::string& life);

// ---- suspects (suspects.cpp, decide_suspect.cpp) and what becomes of parts and lots (decide_fate.cpp)
/// What a gauge must know of a result that it had a part in: fact `n` of this event.
ResultMade result_made(const Fact& fact, std::size_t n, std::int64_t serial);
Suspect suspect_of(const ResultMade& made, const GaugeState& gauge, const std::string& why, const Draft& draft);
/// A mark about a result, as far as it is the same for all of them.
Fact mark_about(Draft& draft, const Suspect& suspect);
/// A part that begins because suspect results of it are to be measured again is asked for those alone.
void ask_suspects_alone(const Draft& draft, const WalkDraft& walk, const LotDraft& lot, PartState& part);
/// The result of this feature that a new one overrules, of this part or, measured again, of the one before; "": none.
std::string result_before(const PartState& part, const std::string& feature);
/// Measuring again clears it: not where the part was released and nobody has decided about it.
bool measuring_clears(const Draft& draft, const Suspect& suspect);
Done decide_suspect_command(Draft& draft);
Done decide_fate_command(Draft& draft);
/// Claims of one part of a lot, by key.
std::vector<std::pair<std::string, Claim>> claims_of(const LotDraft& lot, std::int64_t serial);
/// When the part was released; "": it was not.
std::string released_at(const LotDraft& lot, std::int64_t serial);

// ---- trays (tray_rules.cpp). Precondition where nothing else is said: in_tray(walk.state).
void begin_tray(Draft& draft, WalkDraft& walk, LotDraft& lot, const std::vector<std::int64_t>& serials);
/// From where the walk stands to the plan's next open step, of whichever part.
void go_on_on_tray(WalkDraft& walk);
void go_to_start_of_tray(WalkDraft& walk);
/// To the first open step of the part in hand.
void go_to_start_of_part(WalkDraft& walk);
/// The part in hand has its end: it stays on the tray until all have theirs; then the next tray begins, or waits.
void end_part_on_tray(Draft& draft, WalkDraft& walk);
/// Takes the part of the tray in hand that is wanted; false: none is, or nothing lies on a tray.
bool reach_on_tray(WalkDraft& walk, const std::function<bool(const PartState&)>& wanted);
/// The part in hand is measured again: where it had ended, it is open again. Nothing where none lies on a tray.
void open_part_again(Draft& draft, WalkDraft& walk);
/// Something was read from, or passed over at, any part that lies there. For every walk.
bool anything_touched(const WalkState& walk);
/// The gauge has read this part, whether that still counts or not.
bool used_on(const PartState& part, const std::string& gauge);
/// A part that was begun may be finished before a setting that is due. On a tray each gauge comes for itself: there a
/// part counts as begun with the gauges that have read it.
bool begun_with(const PartState& part, const std::string& gauge);

// ---- results (results.cpp)
/// Makes the result fact of a feature when all its steps are done.
void settle_feature(Draft& draft, WalkDraft& walk, std::size_t asked, Last& last);
/// Makes the results of the derived features that draw on this step and have all they need; they are told by `last`. Returns
/// the worst of their verdicts ("accept" where none was made).
std::string settle_derived(Draft& draft, WalkDraft& walk, std::size_t asked, Last& last);
/// A result fact of a feature with everything but its value and verdict.
Fact& add_result(Draft& draft, const WalkDraft& walk, std::size_t feature, const std::string& overruled, const ReadingsBehind& behind);
/// The value, the limits in force and the verdict, each as the record writes it.
void judge_fact(Fact& fact, const checklist::Feature& feature, const PreparedFeature& prepared, const std::string& stage,
                Quantity value, const Judgement& judgement);
/// The newest fact is the part's result of this feature: gauges and suspects learn of it.
void keep_result(Draft& draft, WalkDraft& walk, const std::string& feature, const std::string& gauges, const std::string& overruled);
/// The attempt of a step that decides: its newest that counts; null where none does.
const Attempt* deciding(const StepState& step);
/// A run change asks for the feature of the next part.
bool is_named(const LotState& lot, const checklist::Feature& feature);
/// A part is held exactly while a reject (or an undecided result) stands in it: at one place is enough, and a retake may lift it.
void follow_held(WalkDraft& walk);
/// A result that counts no more is no gauge's any more: none of them can make it suspect.
void forget_result(Draft& draft, const std::string& fact);
Fact& add_fact(Draft& draft, const WalkDraft& walk, const PartState& part, const std::string& kind);
/// Exact text of a value in the print's unit; in millimetres where that has no finite decimal there.
std::pair<std::string, std::string> text_for_print(Quantity value, Unit unit);
bool step_verdict_is_reject(const StepState& step);
/// What the attempts of one step come to: "" (open), "accept", "reject", "undecided".
std::string settled(const StepState& step, bool answer);

// ---- shared
/// The walk waits: kept, shown, not counted.
void hold(Draft& draft, WalkDraft& walk, Hold held, const std::string& why = {});
Last last_of(const WalkDraft& walk, std::size_t asked, const Draft& draft, const std::string& what);
void say(Draft& draft, WalkDraft& walk, Last last, const std::string& tone);

// ---- what comes: `route` picks by kind; each of the others decides one family of inputs
Done route(Draft& draft);
Done decide_reading(Draft& draft);
/// The end of a capture with samples: what must hold before anything is made of it, and that it is kept.
Done keep_captured(Draft& draft, const WalkDraft* walk);
/// What a sweep comes to for the derived features that draw on it; nothing for any other capture.
std::optional<derive::SweepFigures> sweep_of(const Captured& captured, const PreparedFeature& prepared);
/// It broke: nothing of it is judged, the walk waits for another.
void hold_broken_capture(Draft& draft, WalkDraft& walk);
/// After every change: a capture whose step has gone, or that a hard hold stands before, is dropped.
void follow_capture(WalkDraft& walk);
Done decide_setting(Draft& draft, GaugeDraft& gauge, const Reading& reading, Quantity value);
Done decide_act(Draft& draft);
Done decide_typed(Draft& draft);
/// Common to readings and typed values, once the step is known: plausible, right size, counts.
void judge_offered(Draft& draft, WalkDraft& walk, std::size_t asked, const Offered& offered);
Done decide_walk_command(Draft& draft);
Done decide_lot_command(Draft& draft);
Done decide_house_event(Draft& draft);
Done decide_edition_command(Draft& draft);

/// The bench's active walk, or an Error "no_walk".
Expected<WalkDraft*> active_walk(Draft& draft);
/// A text member of the input's body; Error "wrong_shape" where it is missing and `required`.
Expected<std::string> body_text(const Input& input, const char* member, bool required = true);
Expected<std::int64_t> body_number(const Input& input, const char* member, std::optional<std::int64_t> otherwise = {});

}  // namespace tallystick::walk
