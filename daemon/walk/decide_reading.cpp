// A reading comes: does it count, for which step, and what of it?
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

__extension__ using Wide = __int128;

bool earlier_than(const Stamp& a, const Stamp& b, double seconds) {
  // a < b + seconds, exact in nanoseconds.
  return elapsed_ns(b, a) < static_cast<std::int64_t>(seconds * 1e9);
}

/// The value times or divided by 25.4, exactly or not at all; nullopt also where it overflows.
std::optional<Quantity> scaled(Quantity value, bool times) {
  const Wide count = value.count();
  const Wide product = times ? count * 127 : count * 5;
  const Wide divisor = times ? 5 : 127;
  // Rounded: it only asks whether the value would be plausible, and is never judged.
  const Wide rounded = product / divisor;
  if (rounded > INT64_MAX || rounded < INT64_MIN) return {};
  return Quantity::of_count(static_cast<std::int64_t>(rounded), value.unit());
}

bool plausible(const PreparedFeature& feature, Quantity value) {
  return feature.plausible_lower <= value && value <= feature.plausible_upper;
}

struct OtherSize {
  std::string size, lower, upper;
};

/// Another size of the family whose same feature would accept the value.
std::optional<OtherSize> other_size(const Draft& draft, const WalkDraft& walk, std::size_t asked, Quantity value) {
  const auto& own = walk.edition->edition;
  const std::string& key = walk.feature(asked).key;
  std::map<std::string, const EditionState*> newest;
  for (const auto& [sha, state] : draft.states.editions) {
    if (state.family != own.family || state.size == own.size || state.withdrawn) continue;
    auto& best = newest[state.size + "/" + state.print_revision];
    if (!best || best->number < state.number) best = &state;
  }
  for (const auto& [size, state] : newest) {
    const auto edition = draft.context.editions->find(state->sha);
    if (edition == draft.context.editions->end()) continue;
    for (std::size_t f = 0; f < edition->second->features.size(); ++f) {
      const auto& feature = edition->second->edition.features[f];
      const auto& prepared = edition->second->features[f];
      if (feature.key != key || !prepared.measured || prepared.reduction != Reduction::each) continue;
      const auto judgement = judge(prepared.limits, value);
      if (judgement && judgement->verdict == Verdict::accept) return OtherSize{state->size, feature.lower, feature.upper};
    }
  }
  return {};
}

}  // namespace

void hold(Draft& draft, WalkDraft& walk, Hold held, const std::string& why) {
  held.why = why;
  Last last;
  last.what = "held";
  last.why = held.kind;
  last.gauge = held.gauge;
  last.value = held.value;
  last.unit = held.unit;
  last.sent_value = held.sent_value;
  last.sent_unit = held.sent_unit;
  last.utc_us = draft.now().utc_us;
  if (walk.has_part()) last.serial = walk.part().serial;
  walk.state.standing.hold = std::move(held);
  say(draft, walk, std::move(last), "hold");
}

namespace {

Hold held_value(const std::string& kind, const Offered& offered, Unit unit) {
  Hold out;
  out.kind = kind;
  out.gauge = offered.gauge;
  std::tie(out.value, out.unit) = text_for_print(offered.value, unit);
  out.sent_value = offered.sent_value;
  out.sent_unit = offered.sent_unit;
  out.sweep = offered.sweep;
  return out;
}

void not_counted(Draft& draft, WalkDraft* walk, const Reading& reading, const std::string& what, const std::string& why,
                 const std::string& tone = "early") {
  draft.out.what = what;
  draft.out.why = why;
  draft.out.tone = tone;
  if (!walk) return;
  Last last;
  last.what = what;
  last.why = why;
  last.gauge = reading.gauge;
  last.value = reading.decoded.value_text;
  last.unit = std::string(reading.decoded.quantity.unit().name());
  last.utc_us = draft.now().utc_us;
  if (walk->has_part()) last.serial = walk->part().serial;
  walk->state.standing.last = std::move(last);
}

/// Size from a reading: as it stands, or added to the master's for a gauge that reads differences. A span is no size.
Expected<Quantity> size_from(const shop::GaugeCard& card, const Reading& reading, const std::optional<Captured>& captured) {
  if (card.reads != "difference" || (captured && captured->named.head.value_of == "span")) return reading.decoded.quantity;
  const auto unit = Unit::named(card.unit);
  if (!unit) return tl::unexpected(unit.error());
  const auto master = Quantity::parse(card.setting.size, *unit);
  if (!master) return tl::unexpected(master.error());
  return add(*master, reading.decoded.quantity);
}

std::string why_may_not(const Draft& draft, const WalkDraft& walk, const GaugeState& gauge, std::size_t asked) {
  const auto by_card = shop::why_not_served(gauge.card, walk.feature(asked), walk.edition->edition.gauge_step_share,
                                            walk.state.bench);
  if (!by_card.empty()) return by_card;
  if (!gauge.card.setting.master.empty() && gauge.fitness == "failed") return "failed_on_master";
  const auto due = setting_due(gauge, draft.context, draft.now());
  if (!due.empty() && !in_grace(draft, gauge, due)) return "setting_due";
  return {};
}

bool waits_for_repeat(const WalkDraft& walk) {
  if (!walk.has_part() || walk.part().steps.empty()) return false;
  const auto& step = walk.part().steps[walk.state.standing.pointer];
  return step.status == "open" && counted_attempts(step) > 0;
}

/// The step that the reading is for: the present one; or, moving the pointer, the nearest open one that the gauge
/// serves; or none.
enum class Aim { present, moved, none };
Aim aim(const Draft& draft, WalkDraft& walk, const GaugeState& gauge) {
  auto& standing = walk.state.standing;
  if (why_may_not(draft, walk, gauge, standing.pointer).empty()) return Aim::present;
  if (waits_for_repeat(walk) || !walk.edition->edition.moves_allowed) return Aim::none;
  if (standing.hold && (standing.hold->kind == "value" || standing.hold->kind == "size")) return Aim::none;
  const PartState& part = walk.part();
  for (std::size_t n = 1; n < part.steps.size(); ++n) {
    const std::size_t other = (standing.pointer + n) % part.steps.size();
    if (part.steps[other].status != "open" || !why_may_not(draft, walk, gauge, other).empty()) continue;
    standing.pointer = other;
    return Aim::moved;
  }
  return Aim::none;
}

/// What stands in the way before any step is looked at; true: it was dealt with.
bool stopped_before_step(Draft& draft, WalkDraft& walk, const Reading& reading) {
  auto& standing = walk.state.standing;
  if (standing.life != "active") return not_counted(draft, &walk, reading, "not_counted", "parked"), true;
  if (draft.bench(walk.state.bench).displays.empty()) {
    Hold nobody;
    nobody.kind = "nobody_told";
    nobody.gauge = reading.gauge;
    // A hold of value or size keeps its question; that nobody would be told is said by the outcome alone then.
    if (!standing.hold || !(standing.hold->hard || standing.hold->kind == "value" || standing.hold->kind == "size"))
      hold(draft, walk, nobody);
    else
      not_counted(draft, &walk, reading, "not_counted", "nobody_told", "hold");
    return true;
  }
  // The end of a capture was caused by the action that began it: whoever gave that saw the step.
  if (draft.input.kind != "capture_ended") {
    if (!standing.capture.empty()) return not_counted(draft, &walk, reading, "not_counted", "capture", "hold"), true;
    const auto told = draft.told(present_ask(walk.state));
    const auto* gauge = draft.look_at_gauge(reading.gauge);
    const double look = standing.reject_stands ? gauge->card.look_time_after_reject_s : gauge->card.look_time_s;
    if (!told || earlier_than(reading.stamp(), *told, look))
      return not_counted(draft, &walk, reading, "too_early", told ? "look_time" : "not_told"), true;
  }
  if (standing.resumed) {
    if (standing.counted && standing.counted->gauge == reading.gauge)
      return not_counted(draft, &walk, reading, "not_counted", "resumed", "hold"), true;
    standing.resumed = false;
  }
  if (standing.hold && standing.hold->hard)
    return not_counted(draft, &walk, reading, "not_counted", standing.hold->kind, "hold"), true;
  if (!walk.has_part())
    return not_counted(draft, &walk, reading, "not_counted", standing.between ? "between_parts" : "no_part", "hold"), true;
  if (!standing.setting.empty() && !draft.input.captured) {
    Hold other;
    other.kind = "wrong_gauge";
    other.gauge = reading.gauge;
    hold(draft, walk, other, "setting_first");
    return true;
  }
  return false;
}

}  // namespace

void judge_offered(Draft& draft, WalkDraft& walk, std::size_t asked, const Offered& offered) {
  const auto& feature = walk.prepared(asked);
  const bool could_be = plausible(feature, offered.value);
  if (!offered.unit_in_frame && !could_be && offered.value.dimension() == Dimension::length) {
    for (const bool times : {true, false}) {
      const auto other = scaled(offered.value, times);
      if (!other || !plausible(feature, *other)) continue;
      Hold doubt = held_value("unit", offered, feature.unit);
      doubt.would_be = shown_text(*other, feature.unit, 6);
      return hold(draft, walk, doubt, times ? "inches_shown_as_mm" : "mm_shown_as_inches");
    }
  }
  if (!could_be && offered.value.count() == 0 && !walk.feature(asked).zero_plausible)
    return hold(draft, walk, held_value("zero", offered, feature.unit));
  const auto judgement = feature.judge_in(walk.part().stage, offered.value);
  if (!judgement || judgement->verdict == Verdict::reject) {
    if (feature.reduction == Reduction::each || !could_be) {
      if (const auto other = other_size(draft, walk, asked, offered.value)) {
        Hold size = held_value("size", offered, feature.unit);
        size.fits_size = other->size;
        size.fits_lower = other->lower;
        size.fits_upper = other->upper;
        return hold(draft, walk, size);
      }
    }
  }
  // Also where a one-sided limit would accept it (a runout of -0.5): an implausible value is asked about.
  if (!could_be) return hold(draft, walk, held_value("value", offered, feature.unit));
  count_value(draft, walk, asked, offered);
}

Done decide_reading(Draft& draft) {
  const Reading& reading = *draft.input.reading;
  draft.about_gauge = reading.gauge;
  const auto known = draft.states.gauges.find(reading.gauge);
  if (known == draft.states.gauges.end())
    return fail("unknown_gauge", "no gauge \"" + reading.gauge + "\" in the register", reading.port, "register it");
  auto& gauge = draft.gauge(reading.gauge);
  const auto card = gauge.state.card;
  const std::string text = reading.decoded.value_text + " " + std::string(reading.decoded.quantity.unit().name());
  const bool again_at_once = gauge.state.last_text == text && !gauge.state.last_at.boot.empty() &&
                             earlier_than(reading.stamp(), gauge.state.last_at, card.repeat_window_s);
  gauge.state.last_text = text;
  gauge.state.last_at = reading.stamp();
  auto& bench = draft.bench(card.bench);
  WalkDraft* walk = bench.walk.empty() ? nullptr : &draft.walk(bench.walk);
  if (walk) {
    draft.about_walk = walk->state.key;
    draft.about_lot = walk->state.lot;
    draft.person = walk->state.person;
  } else {
    draft.person = bench.person;
  }
  if (draft.input.captured)
    if (auto kept = keep_captured(draft, walk); !kept) return kept;
  const bool capture = draft.input.kind == "capture_ended";
  if (again_at_once && !capture) {
    draft.out.what = "duplicate";
    draft.out.why = "repeat_window";
    return {};
  }
  const auto value = size_from(card, reading, draft.input.captured);
  const auto card_unit = Unit::named(card.unit);
  if (!value || !card_unit || !convertible(value->unit(), *card_unit)) {
    not_counted(draft, walk, reading, "not_counted", value ? "wrong_unit" : value.error().code, "hold");
    return {};
  }
  if (capture && walk) walk->state.standing.capture.clear();
  if (draft.input.captured && !draft.input.captured->named.head.broken.empty()) {
    hold_broken_capture(draft, *walk);
    return {};
  }
  const bool in_part = walk && walk->has_part() && begun_with(walk->part(), reading.gauge);
  const std::string due = setting_due(gauge.state, draft.context, draft.now());
  const bool sets = !due.empty() && (!in_part || gauge.state.fitness != "fit" || due == "as_found_outside" ||
                                     walk->state.standing.setting == reading.gauge);
  if (sets && !draft.input.captured) return decide_setting(draft, gauge, reading, *value);
  if (!walk) {
    not_counted(draft, nullptr, reading, "not_counted", "no_walk");
    return {};
  }
  if (!walk->edition) return fail("edition_missing", "the walk's edition is not in the record", walk->state.edition);
  if (stopped_before_step(draft, *walk, reading)) return {};
  auto& standing = walk->state.standing;
  standing.asked_gauge.clear();
  if (reading.decoded.status == GaugeStatus::over_range || reading.decoded.status == GaugeStatus::under_range ||
      reading.decoded.status == GaugeStatus::error) {
    Hold status;
    status.kind = "status";
    status.gauge = reading.gauge;
    hold(draft, *walk, status, std::string(name(reading.decoded.status)));
    return {};
  }
  // What was captured is for the step that it began at, or for none.
  const auto target = !capture ? aim(draft, *walk, gauge.state)
                      : why_may_not(draft, *walk, gauge.state, standing.pointer).empty() ? Aim::present : Aim::none;
  if (target == Aim::none) {
    const auto why = why_may_not(draft, *walk, gauge.state, standing.pointer);
    if (standing.hold && (standing.hold->kind == "value" || standing.hold->kind == "size")) {
      not_counted(draft, walk, reading, "not_counted", "hold", "hold");
      return {};
    }
    Hold wrong;
    wrong.kind = why == "failed_on_master" || why == "may_not_be_used" || why == "setting_due" ? "may_not_be_used" : "wrong_gauge";
    wrong.gauge = reading.gauge;
    wrong.value = reading.decoded.value_text;
    wrong.unit = std::string(reading.decoded.quantity.unit().name());
    hold(draft, *walk, wrong, why);
    return {};
  }
  if (target == Aim::moved) {
    standing.hold.reset();
    Last last = last_of(*walk, standing.pointer, draft, "moved");
    last.gauge = reading.gauge;
    say(draft, *walk, std::move(last), "moved");
    return {};
  }
  Offered offered{reading.gauge, *value, reading.decoded.value_text,
                  std::string(reading.decoded.quantity.unit().name()), reading.decoded.unit_in_frame || card.reads == "difference",
                  false, false, reading.decoded.status, {}};
  if (capture && draft.input.captured) offered.sweep = sweep_of(*draft.input.captured, walk->prepared(standing.pointer));
  judge_offered(draft, *walk, standing.pointer, offered);
  return {};
}

Done decide_typed(Draft& draft) {
  auto walk = active_walk(draft);
  if (!walk) return tl::unexpected(walk.error());
  auto& standing = (*walk)->state.standing;
  if (!(*walk)->has_part() || standing.resumed || (standing.hold && standing.hold->hard) || !standing.setting.empty() ||
      !standing.capture.empty())
    return fail("not_now", "no step is asked for now", (*walk)->state.bench);
  if (!(*walk)->prepared(standing.pointer).measured)
    return fail("not_now", "this step takes an answer, not a value", (*walk)->feature(standing.pointer).key);
  const auto text = body_text(draft.input, "value");
  if (!text) return tl::unexpected(text.error());
  const auto unit_name = body_text(draft.input, "unit", false);
  if (!unit_name) return tl::unexpected(unit_name.error());
  const auto unit = unit_name->empty() ? Expected<Unit>((*walk)->prepared(standing.pointer).unit) : Unit::named(*unit_name);
  if (!unit) return tl::unexpected(unit.error());
  if (!convertible(*unit, (*walk)->prepared(standing.pointer).unit))
    return fail("wrong_unit", "\"" + *unit_name + "\" does not measure this feature", (*walk)->feature(standing.pointer).key);
  const auto value = Quantity::parse(*text, *unit);
  if (!value) return tl::unexpected(value.error());
  Offered offered;
  offered.value = *value;
  offered.sent_value = *text;
  offered.sent_unit = std::string(unit->name());
  offered.typed = true;
  judge_offered(draft, **walk, standing.pointer, offered);
  return {};
}

}  // namespace tallystick::walk
