#include "daemon/walk/decide.hpp"

#include <set>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

const PreparedEdition* edition_of(const WalkState& walk, const Context& context) {
  if (!context.editions) return nullptr;
  const auto found = context.editions->find(walk.edition);
  return found == context.editions->end() ? nullptr : found->second.get();
}

std::vector<std::string> serving_gauges(const States& states, const WalkState& walk, const PreparedEdition& edition,
                                        std::size_t step) {
  const auto& feature = edition.edition.features[edition.steps[step].feature];
  std::vector<std::string> out;
  if (feature.gauge_kind.empty()) return out;
  for (const auto& [id, gauge] : states.gauges)
    if (gauge.card.bench == walk.bench &&   // first: what follows works limits out, and a shop has many gauges
        shop::why_not_served(gauge.card, feature, edition.edition.gauge_step_share, walk.bench).empty() &&
        gauge.fitness != "failed")
      out.push_back(id);
  return out;
}

std::string present_ask(const WalkState& walk) {
  const auto& standing = walk.standing;
  const std::string state = situation(walk);
  const std::string base = walk.key + "/" + state;
  if (state == "resumed") return base + "/" + standing.counted->event;
  if (state == "hold" || state == "hard_hold") return base + "/" + standing.hold->kind + "/" + standing.hold->event;
  if (state == "setting") return base + "/" + standing.setting;
  if (state == "between_parts") return base + (standing.sure_to_end ? "/sure" : "");
  if (state == "done") return base;
  const auto& part = standing.in_previous ? walk.previous : walk.part;
  if (!part || part->steps.empty()) return base;
  const auto& step = part->steps[standing.pointer];
  return base + "/" + std::to_string(part->serial) + (standing.in_previous ? "b/" : "/") + std::to_string(standing.pointer) +
         "." + std::to_string(step.attempts.size()) + "." + std::to_string(counted_attempts(step));
}

namespace {

/// Since when a setting has been due by an event or by time, to hold against the grace; nullopt: at once.
std::optional<Stamp> due_since(const GaugeState& gauge, const std::string& why, const Context& context) {
  if (why == "power" || why == "restart") return context.started;
  if (why == "person" || why == "port") return gauge.void_at;
  if (why == "hours") {
    Stamp due = gauge.set_at;
    const auto hours_ns = static_cast<std::int64_t>(gauge.card.setting.hours * 3.6e12);
    due.steady_ns += hours_ns;
    due.utc_us += hours_ns / 1000;
    return due;
  }
  return {};
}

}  // namespace

bool in_grace(const Draft& draft, const GaugeState& gauge, const std::string& why) {
  if (why == "parts") return true;
  const auto since = due_since(gauge, why, draft.context);
  return since && elapsed_ns(*since, draft.now()) <= static_cast<std::int64_t>(gauge.card.setting.grace_minutes * 6e10);
}

namespace {

/// A gauge that must be set before any step of the present part; empty: none.
std::string setting_first(const Draft& draft, const WalkDraft& walk) {
  if (!walk.has_part()) return {};
  const PartState& part = walk.part();
  for (std::size_t n = 0; n < part.steps.size(); ++n) {
    const std::size_t asked = (walk.state.standing.pointer + n) % part.steps.size();
    if (part.steps[asked].status != "open" || walk.feature(asked).gauge_kind.empty()) continue;
    std::string due_gauge;
    bool ready = false;
    for (const auto& id : draft.gauges_of_bench(walk.state.bench)) {
      const auto* gauge = draft.look_at_gauge(id);
      if (!shop::why_not_served(gauge->card, walk.feature(asked), walk.edition->edition.gauge_step_share, walk.state.bench).empty())
        continue;
      const auto why = setting_due(*gauge, draft.context, draft.now());
      if (why.empty() || (begun_with(part, id) && in_grace(draft, *gauge, why))) ready = true;
      else if (due_gauge.empty()) due_gauge = id;
    }
    if (!ready && !due_gauge.empty()) return due_gauge;
  }
  return {};
}

/// No gauge at the bench serves the present step and may be used.
bool nothing_serves(const Draft& draft, const WalkDraft& walk) {
  if (!walk.has_part() || walk.part().steps.empty()) return false;
  const auto asked = walk.state.standing.pointer;
  const auto& feature = walk.feature(asked);
  if (feature.gauge_kind.empty() || walk.part().steps[asked].status != "open") return false;
  for (const auto& id : draft.gauges_of_bench(walk.state.bench))
    if (shop::why_not_served(draft.look_at_gauge(id)->card, feature, walk.edition->edition.gauge_step_share, walk.state.bench).empty())
      return false;
  return true;
}

}  // namespace

Done route(Draft& draft) {
  const auto& kind = draft.input.kind;
  static const std::set<std::string> walk_commands = {"begin_walk", "park", "take_up", "state_person", "change_person",
      "state_tool", "set_aside", "move_reading", "lift_hold", "end_walk", "give_up", "note"};
  static const std::set<std::string> house = {"started", "stopped", "told", "clock_stepped", "journal_branched",
      "refusals_counted", "display_came", "display_went", "gauge_registered", "gauge_changed", "gauge_lost", "gauge_heard",
      "time_reached", "confirm_clock", "not_answered", "notice_cleared"};
  if (kind == "reading" || kind == "capture_ended") return decide_reading(draft);
  if (kind == "act") return decide_act(draft);
  if (kind == "type_value") return decide_typed(draft);
  if (walk_commands.contains(kind)) return decide_walk_command(draft);
  if (kind == "open_lot" || kind == "run_change" || kind == "run_release") return decide_lot_command(draft);
  if (kind == "clear_suspect") return decide_suspect_command(draft);
  if (kind == "disposition" || kind == "close_lot" || kind == "release") return decide_fate_command(draft);
  if (kind == "publish" || kind == "withdraw") return decide_edition_command(draft);
  if (house.contains(kind)) return decide_house_event(draft);
  return fail("unknown_command", "no command \"" + kind + "\"", "kind", "the commands stand in the API's table");
}

namespace {

/// A command is for what its sender saw.
Done check_saw(const States& states, const Input& input) {
  const auto& saw = input.saw;
  if (saw.walk.empty() && saw.part.empty() && saw.ask.empty()) return {};
  const auto bench = states.benches.find(input.bench);
  const WalkState* walk = nullptr;
  if (bench != states.benches.end() && !bench->second.walk.empty())
    if (const auto found = states.walks.find(bench->second.walk); found != states.walks.end()) walk = &found->second;
  const auto moved = [&](const std::string& what) {
    return fail("moved_on", "the walk has moved on (" + what + ")", input.bench, "look at the page again, then decide");
  };
  if (!saw.walk.empty() && (!walk || walk->key != saw.walk)) return moved("another walk");
  if (!saw.ask.empty() && walk && present_ask(*walk) != saw.ask) return moved("another step");
  if (!saw.part.empty() && walk) {
    const auto& part = walk->standing.in_previous ? walk->previous : walk->part;
    if (!part || part->key != saw.part) return moved("another part");
  }
  return {};
}

}  // namespace

void refresh(Draft& draft, WalkDraft& walk) {
  auto& standing = walk.state.standing;
  if (standing.life != "active" || !walk.edition || walk.change.gone) return;
  follow_capture(walk);
  standing.setting = setting_first(draft, walk);
  if (standing.setting.empty() && standing.hold && standing.hold->why == "setting_first") standing.hold.reset();
  const bool none = nothing_serves(draft, walk);
  if (none && !standing.hold) {
    Hold hold;
    hold.kind = "no_gauge";
    hold.hard = true;
    standing.hold = hold;
  } else if (!none && standing.hold && standing.hold->kind == "no_gauge") {
    standing.hold.reset();
  }
}

Expected<Decision> decide(const States& states, const Input& input, const Context& context) {
  if (auto saw = check_saw(states, input); !saw) return tl::unexpected(saw.error());
  Draft draft(states, input, context);
  if (auto done = route(draft); !done) return tl::unexpected(done.error());
  draft.refresh_walks();
  return draft.finish();
}

std::string to_json_text(const Input& input) {
  boost::json::object out;
  out["kind"] = input.kind;
  if (!input.bench.empty()) out["bench"] = input.bench;
  if (!input.display.empty()) out["display"] = input.display;
  if (!input.idempotency_key.empty()) out["idempotency_key"] = input.idempotency_key;
  boost::json::object saw;
  if (!input.saw.walk.empty()) saw["walk"] = input.saw.walk;
  if (!input.saw.part.empty()) saw["part"] = input.saw.part;
  if (!input.saw.ask.empty()) saw["ask"] = input.saw.ask;
  if (!saw.empty()) out["saw"] = std::move(saw);
  if (!input.body.empty()) out["body"] = input.body;
  if (input.captured) out["capture"] = mirror::write(input.captured->named);
  if (input.reading) {
    const auto& reading = *input.reading;
    boost::json::object value;
    value["gauge"] = reading.gauge;
    value["port"] = reading.port;
    if (!input.captured || input.captured->named.head.broken.empty()) {   // a capture that broke has no value
      value["value"] = reading.decoded.value_text;
      value["unit"] = reading.decoded.quantity.unit().name();
    }
    value["unit_in_frame"] = reading.decoded.unit_in_frame;
    if (reading.decoded.channel) value["channel"] = *reading.decoded.channel;
    value["status"] = name(reading.decoded.status);
    value["cause"] = name(reading.cause);
    out["reading"] = std::move(value);
  }
  return boost::json::serialize(out);
}

}  // namespace tallystick::walk
