// A gauge's setting on its master: as found, as left, and what follows when it stood outside.
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

std::int64_t nanoseconds(double hours) { return static_cast<std::int64_t>(hours * 3.6e12); }

bool voids(const GaugeState& gauge, const std::string& by) {
  const auto& list = gauge.card.setting.void_on;
  return std::find(list.begin(), list.end(), by) != list.end();
}

Last setting_last(const Draft& draft, const GaugeState& gauge, Quantity value, const Limits& limits) {
  Last last;
  last.what = "setting";
  last.kind = "setting";
  last.name = gauge.card.name;
  last.gauge = gauge.card.id;
  last.unit = gauge.card.unit;
  const auto unit = limits.nominal->unit();
  last.value = text_for_print(value, unit).first;
  last.nominal = text_for_print(*limits.nominal, unit).first;
  last.lower = text_for_print(*limits.lower, unit).first;
  last.upper = text_for_print(*limits.upper, unit).first;
  last.utc_us = draft.now().utc_us;
  return last;
}

/// Every result that the gauge made since its last good reading is suspect, and no others.
void mark_suspects(Draft& draft, GaugeDraft& gauge) {
  if (!gauge.before) return;
  for (const auto& made : gauge.before->since_good) {
    if (draft.states.suspects.contains(made.fact)) continue;
    Fact mark;
    mark.kind = "mark";
    mark.verdict = "suspect";
    mark.overrules = made.fact;
    mark.reason = "gauge outside its limit on its master";
    mark.gauge = gauge.state.card.id;
    mark.gauge_kind = gauge.state.card.kind;
    mark.master = gauge.state.card.setting.master;
    mark.lot = made.lot;
    mark.lot_name = made.lot_name;
    mark.part = made.part;
    mark.serial = std::to_string(made.serial);
    mark.feature = made.feature;
    mark.walk = made.walk;
    mark.bench = made.bench;
    mark.person = draft.person;
    mark.person_how = draft.person.empty() ? "" : "name stated, not signed in";
    mark.measured_utc = utc_text(draft.now().utc_us);
    mark.clock = draft.now().clock;
    draft.out.facts.push_back(mark);
    Suspect suspect;
    suspect.fact = made.fact;
    suspect.mark = std::to_string(draft.out.facts.size());
    suspect.gauge = gauge.state.card.id;
    suspect.why = mark.reason;
    suspect.lot = made.lot;
    suspect.lot_name = made.lot_name;
    suspect.part = made.part;
    suspect.feature = made.feature;
    suspect.bench = made.bench;
    suspect.serial = made.serial;
    suspect.since_utc = mark.measured_utc;
    draft.out.suspects[made.fact] = std::move(suspect);
  }
  gauge.change.forget_all = true;
}

void good_on_master(Draft& draft, GaugeDraft& gauge) {
  gauge.state.fitness = "fit";
  gauge.state.void_why.clear();
  gauge.state.parts_since = 0;
  gauge.state.as_found.clear();
  gauge.change.set_now = true;
  gauge.change.forget_all = true;
  gauge.state.set_at = draft.now();   // as `evolve` will write it: the walk is asked on in this very event
}

}  // namespace

std::string setting_ask(const GaugeState& gauge) {
  return "setting/" + gauge.card.id + "/" + (gauge.fitness == "failed" ? "as_left/" : "as_found/") +
         std::to_string(gauge.as_found.size()) + "/" + gauge.set_event;
}

std::optional<std::int64_t> setting_void_at_utc_us(const GaugeState& gauge) {
  if (gauge.card.setting.master.empty() || gauge.card.setting.hours <= 0 || gauge.fitness != "fit") return {};
  return gauge.set_at.utc_us + nanoseconds(gauge.card.setting.hours) / 1000;
}

std::string setting_due(const GaugeState& gauge, const Context& context, const Stamp& now) {
  const auto& rule = gauge.card.setting;
  if (rule.master.empty()) return {};
  if (gauge.fitness == "failed") return "failed";
  if (gauge.fitness == "unset") return "never_set";
  if (!gauge.as_found.empty()) return "as_found_outside";
  if (voids(gauge, "power") && gauge.set_at.boot != now.boot) return "power";
  if (voids(gauge, "restart") && elapsed_ns(gauge.set_at, context.started) > 0) return "restart";
  if (!gauge.void_why.empty()) return gauge.void_why;
  if (rule.hours > 0 && elapsed_ns(gauge.set_at, now) >= nanoseconds(rule.hours)) return "hours";
  if (rule.parts > 0 && gauge.parts_since >= rule.parts) return "parts";
  return {};
}

Done decide_setting(Draft& draft, GaugeDraft& gauge, const Reading& reading, Quantity value) {
  const auto& card = gauge.state.card;
  auto& bench = draft.bench(card.bench);
  const auto unit = Unit::named(card.unit);
  if (!unit) return tl::unexpected(unit.error());
  const auto size = Quantity::parse(card.setting.size, *unit);
  if (!size) return tl::unexpected(size.error());
  const auto limit = Quantity::parse(card.setting.limit, *unit);
  if (!limit) return tl::unexpected(limit.error());
  const auto limits = Limits::plus_minus(*size, *limit);
  if (!limits) return tl::unexpected(limits.error());

  const auto told = draft.told(setting_ask(gauge.state));
  const auto look_ns = static_cast<std::int64_t>(card.look_time_s * 1e9);
  if (bench.displays.empty() || !told || elapsed_ns(*told, reading.stamp()) < look_ns) {
    draft.out.what = "too_early";
    draft.out.why = bench.displays.empty() ? "nobody_told" : told ? "look_time" : "not_told";
    draft.out.tone = "early";
    return {};
  }
  const auto judgement = judge(*limits, value);
  if (!judgement) return tl::unexpected(judgement.error());
  const bool inside = judgement->verdict == Verdict::accept;
  Last last = setting_last(draft, gauge.state, value, *limits);
  last.sent_value = reading.decoded.value_text;
  last.sent_unit = std::string(reading.decoded.quantity.unit().name());
  last.verdict = inside ? "accept" : "reject";
  last.side = std::string(name(judgement->side));
  last.by = text_for_print(judgement->by, *unit).first;
  std::string tone = inside ? "setting_good" : "setting_bad";

  if (gauge.state.fitness == "failed") {
    last.why = "as_left";
    if (inside) good_on_master(draft, gauge);
  } else {
    last.why = "as_found";
    Attempt attempt;
    attempt.value = last.value;
    attempt.unit = last.unit;
    attempt.verdict = last.verdict;
    attempt.gauge = card.id;
    gauge.state.as_found.push_back(attempt);
    // The rule for rejects: a second one stands; an accept after a reject asks for a third, which decides.
    const auto count = gauge.state.as_found.size();
    const bool stands = !inside && count >= 2;
    if (inside && count != 2) {
      good_on_master(draft, gauge);
    } else if (stands) {
      gauge.state.fitness = "failed";
      gauge.state.as_found.clear();
      last.stands = true;
      mark_suspects(draft, gauge);
    }
  }
  draft.out.what = "setting";
  draft.out.why = last.why;
  draft.out.tone = tone;
  if (bench.walk.empty()) {
    bench.last = std::move(last);
  } else {
    auto& walk = draft.walk(bench.walk);
    auto& hold = walk.state.standing.hold;
    if (hold && (hold->why == "setting_first" || hold->why == "setting_due")) hold.reset();
    walk.state.standing.last = std::move(last);
    walk.state.standing.since = draft.now();
  }
  return {};
}

}  // namespace tallystick::walk
