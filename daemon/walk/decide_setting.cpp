// A gauge's setting on its master: as found, as left, and what follows when it stood outside.
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

__extension__ using Wide = __int128;

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
    Suspect suspect = suspect_of(made, gauge.state, "gauge outside its limit on its master", draft);
    Fact mark = mark_about(draft, suspect);
    mark.verdict = "suspect";
    mark.overrules = made.fact;
    mark.reason = suspect.why;
    mark.gauge_kind = gauge.state.card.kind;
    mark.master = gauge.state.card.setting.master;
    mark.walk = made.walk;
    draft.out.facts.push_back(std::move(mark));
    suspect.mark = std::to_string(draft.out.facts.size());
    draft.out.suspects[made.fact] = std::move(suspect);
  }
  gauge.change.forget_all = true;
}

void good_on_master(Draft& draft, GaugeDraft& gauge, const Last& last) {
  gauge.state.fitness = "fit";
  gauge.state.void_why.clear();
  gauge.state.parts_since = 0;
  gauge.state.as_found.clear();
  gauge.state.first_read.clear();
  gauge.state.zero = last.zero;
  gauge.state.gain = last.gain;
  gauge.change.set_now = true;
  gauge.change.forget_all = true;
  gauge.state.set_at = draft.now();   // as `evolve` will write it: the walk is asked on in this very event
}

/// What the masters show of the gauge. Exact: differences are whole counts, the gain their quotient to 1e-9.
struct Shown {
  std::string zero, gain;
  bool gain_outside = false;
};

Expected<Quantity> first_size(const GaugeState& gauge, Unit unit) { return Quantity::parse(gauge.card.setting.size, unit); }

Expected<Shown> shown_by(const GaugeState& gauge, const SettingPoint& point, Quantity value, Unit unit) {
  Shown out;
  const auto first = first_size(gauge, unit);
  if (!first) return tl::unexpected(first.error());
  const auto first_read = point.second ? Quantity::parse(gauge.first_read, unit) : Expected<Quantity>(value);
  if (!first_read) return tl::unexpected(first_read.error());
  const auto zero = subtract(*first_read, *first);
  if (!zero) return tl::unexpected(zero.error());
  out.zero = text_for_print(*zero, unit).first;
  if (!point.second) return out;
  const auto second = Quantity::parse(point.size, unit);
  if (!second) return tl::unexpected(second.error());
  const Wide read = Wide{value.count()} - first_read->count(), masters = Wide{second->count()} - first->count();
  if (masters == 0) return fail("refused", "both masters have one size", gauge.card.id, "set it on two that differ");
  constexpr Wide ratio = 1'000'000'000;
  const auto away = [](Wide number) { return number < 0 ? -number : number; };
  const Wide scaled = away(read) * ratio, by = away(masters);
  const Wide rounded = (scaled + by / 2) / by;
  if (rounded > INT64_MAX) return fail("refused", "a gain beyond every reason", gauge.card.id);
  const auto gain = static_cast<std::int64_t>((read < 0) == (masters < 0) ? rounded : -rounded);
  out.gain = Quantity::of_count(gain, *Unit::named("ratio")).text();
  if (gauge.card.setting.gain_limit.empty()) return out;
  const auto limit = Quantity::parse(gauge.card.setting.gain_limit, *Unit::named("ratio"));
  if (!limit) return tl::unexpected(limit.error());
  out.gain_outside = away(read - masters) * ratio > Wide{limit->count()} * by;
  return out;
}

/// A good reading on one of two masters: the other comes next.
void go_to_second(GaugeDraft& gauge, const std::string& value) {
  gauge.state.first_read = value;
  gauge.state.as_found.clear();
}

/// The rule for rejects: a second one stands; an accept after a reject asks for a third, which decides.
void judge_setting(Draft& draft, GaugeDraft& gauge, const SettingPoint& point, Last& last) {
  const bool inside = last.verdict == "accept";
  const bool first_of_two = !point.second && !gauge.state.card.setting.master_2.empty();
  if (gauge.state.fitness == "failed") {
    last.why = "as_left";
    if (inside && first_of_two) go_to_second(gauge, last.value);
    else if (inside) good_on_master(draft, gauge, last);
    else gauge.state.first_read.clear();   // whoever adjusts it begins again at the first
    return;
  }
  last.why = "as_found";
  Attempt attempt;
  attempt.value = last.value;
  attempt.unit = last.unit;
  attempt.verdict = last.verdict;
  attempt.gauge = gauge.state.card.id;
  gauge.state.as_found.push_back(attempt);
  const auto count = gauge.state.as_found.size();
  if (inside && count != 2) {
    if (first_of_two) go_to_second(gauge, last.value);
    else good_on_master(draft, gauge, last);
  } else if (!inside && count >= 2) {
    gauge.state.fitness = "failed";
    gauge.state.as_found.clear();
    gauge.state.first_read.clear();
    last.stands = true;
    mark_suspects(draft, gauge);
  }
}

/// Shown at the bench, or in its walk. A hold that waited for this setting ends with a reading that was judged.
void show_setting(Draft& draft, BenchState& bench, Last last, bool judged) {
  if (bench.walk.empty()) {
    bench.last = std::move(last);
    return;
  }
  auto& standing = draft.walk(bench.walk).state.standing;
  if (judged && standing.hold && (standing.hold->why == "setting_first" || standing.hold->why == "setting_due")) standing.hold.reset();
  standing.last = std::move(last);
  standing.since = draft.now();
}

}  // namespace

std::string setting_ask(const GaugeState& gauge) {
  return "setting/" + gauge.card.id + "/" + (gauge.fitness == "failed" ? "as_left/" : "as_found/") +
         std::to_string(gauge.as_found.size()) + (gauge.first_read.empty() ? "/" : ".second/") + gauge.set_event;
}

SettingPoint setting_point(const GaugeState& gauge) {
  const auto& rule = gauge.card.setting;
  if (gauge.first_read.empty()) return {rule.master, rule.size, rule.limit, rule.uncertainty, rule.due, false};
  return {rule.master_2, rule.size_2, rule.limit_2, rule.uncertainty_2, rule.due_2, true};
}

Expected<Limits> limits_at(const SettingPoint& point, Unit unit) {
  const auto size = Quantity::parse(point.size, unit);
  if (!size) return tl::unexpected(size.error());
  auto limit = Quantity::parse(point.limit, unit);
  if (limit && !point.uncertainty.empty()) {
    const auto uncertainty = Quantity::parse(point.uncertainty, unit);
    if (!uncertainty) return tl::unexpected(uncertainty.error());
    limit = subtract(*limit, *uncertainty);
  }
  if (!limit) return tl::unexpected(limit.error());
  return Limits::plus_minus(*size, *limit);
}

bool overdue(const SettingPoint& point, const Stamp& now) {
  return !point.due.empty() && utc_text(now.utc_us).substr(0, 10) > point.due;
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
  if (!gauge.first_read.empty()) return "second_point";
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
  const auto point = setting_point(gauge.state);
  const auto limits = limits_at(point, *unit);
  if (!limits) return tl::unexpected(limits.error());

  const auto told = draft.told(setting_ask(gauge.state));
  const auto look_ns = static_cast<std::int64_t>(card.look_time_s * 1e9);
  if (bench.displays.empty() || !told || elapsed_ns(*told, reading.stamp()) < look_ns) {
    draft.out.what = "too_early";
    draft.out.why = bench.displays.empty() ? "nobody_told" : told ? "look_time" : "not_told";
    draft.out.tone = "early";
    return {};
  }
  Last last = setting_last(draft, gauge.state, value, *limits);
  last.sent_value = reading.decoded.value_text;
  last.sent_unit = std::string(reading.decoded.quantity.unit().name());
  if (overdue(point, draft.now())) {
    draft.out.what = last.what = "not_counted";
    draft.out.why = last.why = "master_due";
    draft.out.tone = "hold";
    show_setting(draft, bench, std::move(last), false);
    return {};
  }
  const auto judgement = judge(*limits, value);
  if (!judgement) return tl::unexpected(judgement.error());
  const auto shown = shown_by(gauge.state, point, value, *unit);
  if (!shown) return tl::unexpected(shown.error());
  const bool inside = judgement->verdict == Verdict::accept && !shown->gain_outside;
  last.verdict = inside ? "accept" : "reject";
  last.side = std::string(name(judgement->side));
  last.by = text_for_print(judgement->by, *unit).first;
  last.zero = shown->zero;
  last.gain = shown->gain;
  judge_setting(draft, gauge, point, last);
  draft.out.what = "setting";
  draft.out.why = last.why;
  draft.out.tone = inside ? "setting_good" : "setting_bad";
  show_setting(draft, bench, std::move(last), true);
  return {};
}

}  // namespace tallystick::walk
