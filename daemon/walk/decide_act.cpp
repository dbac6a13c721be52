// The three actions: one meaning in each state, first matching row wins. `actions_now` is the table; `decide_act`
// carries out the word that it finds there, so that no key can mean what the page did not show.
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

using checklist::StepKind;

namespace {

constexpr double answer_look_time_s = 0.8;

/// The gauge at the walk's bench that serves the present step and speaks as `speaks`; empty: none.
std::string serving(const States& states, const WalkState& walk, const Context& context, const std::string& speaks) {
  const auto* edition = edition_of(walk, context);
  const auto& part = walk.standing.in_previous ? walk.previous : walk.part;
  if (!edition || !part || part->asked.empty()) return {};
  for (const auto& id : serving_gauges(states, context, walk, *edition, part->asked[walk.standing.pointer]))
    if (states.gauges.at(id).card.speaks == speaks) return id;
  return {};
}

/// The capture that runs ends when somebody says so: not by itself at its time, its settled value or its first frame.
bool ended_by_action(const WalkState& walk, const Context& context) {
  const auto* rule = capture_rule(walk, context);
  return rule && rule->kind != CaptureKind::settled && rule->end_after_us == 0;
}

std::string setting_gauge_asked(const States& states, const WalkState& walk) {
  const auto gauge = states.gauges.find(walk.standing.setting);
  return gauge != states.gauges.end() && gauge->second.card.speaks == "asked" ? gauge->first : "";
}

ActionWords step_actions(const States& states, const WalkState& walk, const Context& context) {
  const auto* edition = edition_of(walk, context);
  const auto& part = walk.standing.in_previous ? walk.previous : walk.part;
  if (!edition || !part || part->asked.empty()) return {};
  const auto kind = edition->steps[part->asked[walk.standing.pointer]].kind;
  const std::string back = walk.standing.counted ? "retake" : "";
  switch (kind) {
    case StepKind::capture:
      if (serving(states, walk, context, "streams").empty()) return {"", "pass_over", back};
      return {"begin_capture", "pass_over", back};
    case StepKind::reading:
      return {serving(states, walk, context, "asked").empty() ? "" : "ask_gauge", "pass_over", back};
    default:
      return {"as_it_should", "not_as_it_should", walk.standing.counted ? "answer_back" : ""};
  }
}

/// Finds the step of the last value that counted: in the active part, or, while nothing was read from it yet, in the
/// part before; on a tray in any part that lies there.
Expected<std::size_t> counted_step(Draft& draft, WalkDraft& walk) {
  auto& standing = walk.state.standing;
  if (!standing.counted) return fail("not_now", "nothing was taken that could be retaken", walk.state.bench);
  const auto matches = [&](std::size_t asked) {
    const auto& feature = walk.feature(asked);
    const auto& step = walk.step(asked);
    if (feature.key != standing.counted->feature) return false;
    if (standing.counted->kind != boost::describe::enum_to_string(step.kind, "")) return false;
    return feature.places.empty() || feature.places[step.place] == standing.counted->place;
  };
  const bool here = walk.has_part() && walk.part().serial == standing.counted->serial;
  const auto wanted = [&](const PartState& part) { return part.serial == standing.counted->serial; };
  if (reach_on_tray(walk, wanted)) {
    open_part_again(draft, walk);
  } else if (!here) {
    const bool before = !standing.in_previous && walk.state.previous &&
                        walk.state.previous->serial == standing.counted->serial &&
                        !anything_touched(walk.state);
    if (!before) return fail("not_now", "the last value belongs to a part that cannot be reached any more", walk.state.bench);
    standing.in_previous = true;
    standing.between = false;
    standing.no_part_left = false;
    if (standing.hold && standing.hold->kind == "setup_not_released") standing.hold.reset();
  }
  for (std::size_t asked = 0; asked < walk.part().asked.size(); ++asked)
    if (matches(asked)) return asked;
  return fail("not_now", "the last value's step is not asked of this part", walk.state.bench);
}

std::string reason_from(const std::vector<std::string>& list, const Input& input, Done& done) {
  const auto reason = body_text(input, "reason", false);
  if (!reason) {
    done = tl::unexpected(reason.error());
    return {};
  }
  if (reason->empty()) return list.empty() ? std::string() : list.front();
  if (std::find(list.begin(), list.end(), *reason) == list.end())
    done = fail("unknown_reason", "\"" + *reason + "\" is not in the shop's list of reasons", input.kind,
                "reasons come from the configuration");
  return *reason;
}

Done retake(Draft& draft, WalkDraft& walk, const std::string& what) {
  Done done;
  const auto reason = what == "set_repeated_aside" ? reason_from(draft.context.words->set_aside_reasons, draft.input, done)
                                                   : reason_from(draft.context.words->retake_reasons, draft.input, done);
  if (!done) return done;
  const auto asked = counted_step(draft, walk);
  if (!asked) return tl::unexpected(asked.error());
  reopen(walk, *asked, reason);
  auto& standing = walk.state.standing;
  standing.counted.reset();
  standing.resumed = false;
  standing.hold.reset();
  Last last = last_of(walk, *asked, draft, what == "set_repeated_aside" ? "set_aside" : "retake");
  last.why = reason;
  say(draft, walk, std::move(last), "moved");
  return {};
}

Done confirm(Draft& draft, WalkDraft& walk) {
  const Hold held = *walk.state.standing.hold;
  const auto unit = Unit::named(held.unit);
  if (!unit) return tl::unexpected(unit.error());
  const auto value = Quantity::parse(held.value, *unit);
  if (!value) return tl::unexpected(value.error());
  const auto asked = walk.state.standing.pointer;
  const auto& prepared = walk.prepared(asked);
  const auto judgement = prepared.judge_in(walk.part().stage, *value);
  if (!judgement || (!prepared.unjudged && judgement->verdict == Verdict::accept))
    return fail("refused", "a confirmation can never accept", held.value, "press the gauge again");
  Offered offered;
  offered.gauge = held.gauge;
  offered.value = *value;
  offered.sent_value = held.sent_value;
  offered.sent_unit = held.sent_unit;
  offered.confirmed = true;
  offered.sweep = held.sweep;
  offered.typed = held.gauge.empty();
  count_value(draft, walk, asked, offered);
  return {};
}

Done answer(Draft& draft, WalkDraft& walk, bool good) {
  const auto told = draft.told(present_ask(walk.state));
  if (!told || elapsed_ns(*told, draft.now()) < static_cast<std::int64_t>(answer_look_time_s * 1e9))
    return fail("too_early", "the question was not on the screen long enough to be read", walk.state.bench,
                "look, then answer");
  const auto& feature = walk.feature(walk.state.standing.pointer);
  if (!feature.tool.empty() && !walk.state.tools.contains(feature.tool))
    return fail("tool_not_stated", "which " + feature.tool + " is used was not stated", walk.state.bench,
                "choose it once for this walk");
  count_answer(draft, walk, walk.state.standing.pointer, good);
  return {};
}

Done carry_out(Draft& draft, WalkDraft& walk, const std::string& word) {
  auto& standing = walk.state.standing;
  const auto plain = [&](const std::string& what, const std::string& tone) {
    Last last;
    last.what = what;
    last.utc_us = draft.now().utc_us;
    if (walk.has_part()) last.serial = walk.part().serial;
    say(draft, walk, std::move(last), tone);
  };
  if (word == "go_on") {
    standing.resumed = false;
    plain("go_on", "moved");
  } else if (word == "tell_again") {
    Last again = *standing.counted;
    again.event.clear();
    say(draft, walk, std::move(again), "moved");
    draft.out.what = "tell_again";
  } else if (word == "it_is_so") {
    return confirm(draft, walk);
  } else if (word == "part_anew") {
    part_anew(draft, walk);
  } else if (word == "forget_hold") {
    standing.hold.reset();
    plain("forgotten", "moved");
  } else if (word == "ask_gauge") {
    const std::string gauge = standing.setting.empty() ? serving(draft.states, walk.state, draft.context, "asked")
                                                       : standing.setting;
    standing.asked_gauge = gauge;
    draft.out.ask_gauge = gauge;
    draft.out.what = "asked";
    draft.about_gauge = gauge;
  } else if (word == "pass_over") {
    Done done;
    const auto reason = reason_from(draft.context.words->pass_reasons, draft.input, done);
    if (!done) return done;
    pass_over(draft, walk, standing.pointer, reason);
  } else if (word == "retake" || word == "answer_back" || word == "retake_previous" || word == "set_repeated_aside") {
    return retake(draft, walk, word);
  } else if (word == "begin_capture" || word == "restart_capture") {
    if (standing.hold && standing.hold->kind == "capture") standing.hold.reset();   // that one broke: here is the other
    standing.capture = serving(draft.states, walk.state, draft.context, "streams");
    standing.capture_begun = draft.now();
    draft.out.what = "capture_begun";
  } else if (word == "end_capture") {
    return fail("not_now", "the samples of this capture are not there", walk.state.bench, "drop it and begin it anew");
  } else if (word == "drop_capture") {
    standing.capture.clear();
    draft.out.what = "capture_dropped";
  } else if (word == "as_it_should" || word == "not_as_it_should") {
    return answer(draft, walk, word == "as_it_should");
  } else if (word == "begin_part") {
    begin_next_part(draft, walk, true);
    plain("part_begun", "moved");
  } else if (word == "end_walk") {
    if (!standing.no_part_left && !standing.sure_to_end) {
      standing.sure_to_end = true;
      draft.out.what = "sure_to_end";
      return {};
    }
    end_walk(draft, walk, "ended");
  }
  return {};
}

}  // namespace

const CaptureRule* capture_rule(const WalkState& walk, const Context& context) {
  const auto* edition = edition_of(walk, context);
  const auto& part = walk.standing.in_previous ? walk.previous : walk.part;
  if (!edition || !part || part->asked.empty()) return nullptr;
  const auto& rule = edition->features[edition->steps[part->asked[walk.standing.pointer]].feature].capture;
  return rule ? &*rule : nullptr;
}

std::string situation(const WalkState& walk) {
  const auto& standing = walk.standing;
  if (standing.resumed) return "resumed";
  if (standing.hold && standing.hold->hard) return "hard_hold";
  if (!standing.capture.empty()) return "capture";   // also out of a soft hold, which its end may lift
  if (standing.hold) return "hold";
  const bool part = standing.in_previous ? walk.previous.has_value() : walk.part.has_value();
  if (standing.between && !standing.in_previous) return "between_parts";
  if (!part) return "done";
  if (!standing.setting.empty()) return "setting";
  return "step";
}

ActionWords actions_now(const States& states, const WalkState& walk, const Context& context) {
  const auto state = situation(walk);
  if (state == "resumed") return {"go_on", "set_repeated_aside", "tell_again"};
  if (state == "hold") {
    // A gauge that has to be asked could not give the reading that ends a hold: *good* asks it, and means no more.
    const std::string good = step_actions(states, walk, context).good;
    const std::string ask = good == "ask_gauge" || good == "begin_capture" ? good : "";
    if (walk.standing.hold->kind == "value" || walk.standing.hold->kind == "size") return {ask, "it_is_so", "part_anew"};
    return {ask, "", "forget_hold"};
  }
  if (state == "hard_hold") return {"", "", walk.standing.counted && !walk.part ? "retake_previous" : ""};
  if (state == "setting") return {setting_gauge_asked(states, walk).empty() ? "" : "ask_gauge", "", ""};
  if (state == "capture") return {ended_by_action(walk, context) ? "end_capture" : "", "drop_capture", "restart_capture"};
  if (state == "between_parts") return {"begin_part", "end_walk", walk.standing.counted ? "retake_previous" : ""};
  if (state == "done") return {"end_walk", "", walk.standing.counted ? "retake_previous" : ""};
  return step_actions(states, walk, context);
}

Done decide_act(Draft& draft) {
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  if ((*walk)->state.standing.life != "active") return fail("not_now", "the walk is parked", (*walk)->state.bench);
  const auto action = body_text(draft.input, "action");
  if (!action) return tl::unexpected(action.error());
  const auto words = actions_now(draft.states, (*walk)->state, draft.context);
  const std::string word = *action == "good"       ? words.good
                           : *action == "not_good" ? words.not_good
                           : *action == "again"    ? words.again
                                                   : std::string("?");
  if (word == "?")
    return fail("wrong_shape", "no action \"" + *action + "\"", "action", "one of good, not_good, again");
  if (word.empty())
    return fail("not_now", "\"" + *action + "\" means nothing in this state (" + situation((*walk)->state) + ")",
                (*walk)->state.bench, "the view's \"actions\" say what each would do");
  if (word != "end_walk") (*walk)->state.standing.sure_to_end = false;
  return carry_out(draft, **walk, word);
}

}  // namespace tallystick::walk
