#include "daemon/walk/view.hpp"

#include <algorithm>

#include "daemon/walk/view_text.hpp"

namespace tallystick::walk {

namespace {

const PartState* active_part(const WalkState& walk) {
  const auto& part = walk.standing.in_previous ? walk.previous : walk.part;
  return part ? &*part : nullptr;
}

std::string_view kind_name(checklist::StepKind kind) { return boost::describe::enum_to_string(kind, ""); }

/// What the page is shown is worked out from.
struct Seen {
  const States& states;
  const Context& context;
  const Surrounding& surrounding;
  const Stamp& now;
};

void utc_or_null(ObjectText& out, std::string_view name, std::int64_t utc_us) {
  if (utc_us == 0) out.add(name, nullptr);
  else out.add(name, utc_text(utc_us));
}

void setting_members(ObjectText& out, const GaugeState& gauge, const std::string& why, const Stamp& now) {
  const auto point = setting_point(gauge);
  out.add("gauge", gauge.card.id);
  out.add("name", gauge.card.name);
  out.add("master", point.master);
  out.add("size", point.size);
  out.add("limit", point.limit);
  out.add_or_null("uncertainty", point.uncertainty);
  out.add("point", point.second ? 2 : 1);
  out.add("points", gauge.card.setting.master_2.empty() ? 1 : 2);
  out.add_or_null("master_overdue", overdue(point, now) ? std::string(point.due) : std::string());
  out.add("unit", gauge.card.unit);
  out.add("phase", gauge.fitness == "failed" ? "as_left" : "as_found");
  out.add("attempt", gauge.as_found.size() + 1);
  out.add("reads", gauge.card.reads);
  out.add("why", why);
}

void write_setting_step(std::string& to, const GaugeState& gauge, const std::string& why, const Stamp& now) {
  ObjectText out(to);
  const auto point = setting_point(gauge);
  setting_members(out, gauge, why, now);
  out.add("kind", "setting");
  out.add("nominal", point.size);
  if (const auto unit = Unit::named(gauge.card.unit))
    if (const auto limits = limits_at(point, *unit)) {
      out.add("lower", limits->lower->text(*unit).value_or(""));
      out.add("upper", limits->upper->text(*unit).value_or(""));
    }
}

/// `state`: the port's state under that name too.
void write_gauge(std::string& to, const Seen& seen, const GaugeState& gauge, bool state) {
  static const GaugeLine unknown;
  const auto line = seen.surrounding.lines.find(gauge.card.id);
  const GaugeLine& known = line == seen.surrounding.lines.end() ? unknown : line->second;
  const std::string due = setting_due(gauge, seen.context, seen.now);
  ObjectText out(to);
  out.add("id", gauge.card.id);
  out.add("name", gauge.card.name);
  out.add("kind", gauge.card.kind);
  out.add("speaks", gauge.card.speaks);
  out.add("unit", gauge.card.unit);
  out.add("port_state", known.port_state);
  out.add_or_null("port_why", known.why);
  utc_or_null(out, "since_utc", known.since_utc_us);
  utc_or_null(out, "last_heard_utc", known.last_heard_utc_us);
  out.add("fit", gauge.card.may_be_used && due.empty());
  if (!gauge.card.may_be_used) out.add("why", gauge.card.why_not);
  else out.add_or_null("why", due);
  const auto until = setting_void_at_utc_us(gauge);
  if (until) out.add("void_at_utc", utc_text(*until));
  else out.add("void_at_utc", nullptr);
  const auto& rule = gauge.card.setting;
  if (rule.parts > 0 && gauge.fitness == "fit")
    out.add("parts_left", std::max<std::int64_t>(0, rule.parts - gauge.parts_since));
  else
    out.add("parts_left", nullptr);
  if (state) out.add("state", known.port_state);
}

/// How a stream is captured; null where it is not, or by one frame alone.
void write_capture(std::string& to, const checklist::Feature& feature) {
  if (feature.kind != "capture" || feature.capture.empty() || feature.capture == "now") {
    to += "null";
    return;
  }
  ObjectText out(to);
  const auto number = [&](std::string_view name, int value) {
    if (value > 0) out.add(name, value);
    else out.add(name, nullptr);
  };
  out.add("kind", feature.capture);
  out.add_or_null("movement", feature.movement);
  out.add_or_null("window", feature.window);
  number("settle_ms", feature.settle_ms);
  number("end_after_ms", feature.end_after_ms);
  number("turns", feature.turns);
}

void place_of(ObjectText& out, const checklist::Feature& feature, const Step& step) {
  if (step.place < feature.places.size()) out.add("place", feature.places[step.place]);
  else out.add("place", nullptr);
}

void write_step(std::string& to, const Seen& seen, const WalkState& walk, const PreparedEdition& edition,
                const PartState& part) {
  const std::size_t pointer = walk.standing.pointer;
  const Step& step = edition.steps[part.asked[pointer]];
  const auto& feature = edition.edition.features[step.feature];
  ObjectText out(to);
  out.add("index", pointer + 1);
  out.add("count", part.asked.size());
  std::size_t done = 0;
  for (const auto& state : part.steps) done += state.status == "open" ? std::size_t{0} : std::size_t{1};
  out.add("done", done);
  out.add("feature", feature.key);
  out.add("balloon", feature.balloon);
  out.add("name", feature.name);
  out.add("class", feature.feature_class);
  out.add("kind", kind_name(step.kind));
  place_of(out, feature, step);
  out.add("place_index", step.place);
  out.add("places", feature.places);
  out.add_or_null("unit", feature.unit);
  out.add_or_null("nominal", feature.nominal);
  const auto limits = limit_texts(feature, part.stage);
  out.add_or_null("lower", limits.lower);
  out.add_or_null("upper", limits.upper);
  out.add("decimals", feature.decimals);
  out.add("judged", !feature.unjudged);
  if (feature.unit.empty() || feature.unjudged) out.add("limits_of", nullptr);
  else out.add("limits_of", limits_of_stage(feature, part.stage));
  out.add("judging", edition.edition.judging);
  out.add("decision", feature.certainty.decision);
  out.add_or_null("uncertainty", feature.certainty.uncertainty);
  {
    ListText serves(out.at("serves"));
    for (const auto derived : edition.features[step.feature].feeds) {
      const auto& fed = edition.edition.features[derived];
      ObjectText entry(serves.next());
      entry.add("feature", fed.key);
      entry.add("balloon", fed.balloon);
      entry.add("name", fed.name);
    }
  }
  out.add("reduction", feature.reduction);
  out.add_or_null("method", feature.method);
  out.add_or_null("question", step.kind == checklist::StepKind::no_go ? feature.question_no_go : feature.question_good);
  out.add_or_null("tool", feature.tool);
  const auto tool = walk.tools.find(feature.tool);
  if (tool == walk.tools.end()) out.add("tool_id", nullptr);
  else out.add("tool_id", tool->second);
  write_capture(out.at("capture"), feature);
  out.add_or_null("edge", feature.edge);
  out.add_or_null("ruler", feature.ruler);
  out.add_or_null("material", feature.material);
  out.add("attempt", counted_attempts(part.steps[pointer]) + 1);
  out.add_or_null("gauge_kind", feature.gauge_kind);
  ListText gauges(out.at("gauges"));
  for (const auto& id : serving_gauges(seen.states, seen.context, walk, edition, part.asked[pointer]))
    write_gauge(gauges.next(), seen, seen.states.gauges.at(id), true);
}

void write_last(std::string& to, const States& states, const Last& last, bool repeated) {
  ObjectText out(to);
  const auto sent = [&](const std::string& value, const std::string& unit) {
    if (value.empty()) return out.add("sent", nullptr);
    ObjectText inner(out.at("sent"));
    inner.add("value", value);
    inner.add("unit", unit);
  };
  out.add("key", last.event);
  out.add("what", last.what);
  out.add_or_null("feature", last.feature);
  out.add_or_null("balloon", last.balloon);
  out.add_or_null("name", last.name);
  out.add_or_null("place", last.place);
  out.add_or_null("kind", last.kind);
  out.add_or_null("value", last.value);
  out.add_or_null("unit", last.unit);
  out.add_or_null("lower", last.lower);
  out.add_or_null("upper", last.upper);
  out.add_or_null("nominal", last.nominal);
  out.add_or_null("verdict", last.verdict);
  out.add_or_null("side", last.side);
  out.add_or_null("by", last.by);
  out.add_or_null("gauge", last.gauge);
  out.add_or_null("edge", last.edge);
  out.add_or_null("ruler", last.ruler);
  out.add_or_null("material", last.material);
  out.add_or_null("why", last.why);
  out.add_or_null("limits_of", last.limits_of);
  out.add_or_null("judging", last.judging);
  out.add_or_null("decision", last.decision);
  if (last.serial) out.add("serial", last.serial);
  else out.add("serial", nullptr);
  out.add("decimals", last.decimals);
  out.add("material_left", last.material_left);
  out.add("stands", last.stands);
  out.add("measured_again", last.measured_again);
  out.add("typed", last.typed);
  out.add("confirmed", last.confirmed);
  out.add_or_null("zero", last.zero);
  out.add_or_null("gain", last.gain);
  out.add("repeated", repeated);
  out.add("utc", utc_text(last.utc_us));
  mirror::append<true>(out.at("derived"), last.derived);
  const auto gauge = states.gauges.find(last.gauge);
  if (gauge == states.gauges.end()) out.add("gauge_name", nullptr);
  else out.add("gauge_name", gauge->second.card.name);
  sent(last.sent_value, last.sent_unit);
  if (last.result_verdict.empty()) return out.add("result", nullptr);
  ObjectText result(out.at("result"));
  result.add("verdict", last.result_verdict);
  result.add_or_null("value", last.result_value);
  result.add_or_null("least", last.result_least);
  result.add_or_null("greatest", last.result_greatest);
}

void write_hold(std::string& to, const States& states, const WalkState& walk, const PreparedEdition* edition) {
  if (!walk.standing.hold) {
    to += "null";
    return;
  }
  const Hold& hold = *walk.standing.hold;
  ObjectText out(to);
  out.add("key", hold.event);
  out.add("kind", hold.kind);
  out.add("hard", hold.hard);
  out.add_or_null("gauge", hold.gauge);
  const auto gauge = states.gauges.find(hold.gauge);
  if (gauge == states.gauges.end()) out.add("gauge_name", nullptr);
  else out.add("gauge_name", gauge->second.card.name);
  out.add_or_null("value", hold.value);
  out.add_or_null("unit", hold.unit);
  if (hold.sent_value.empty()) {
    out.add("sent", nullptr);
  } else {
    ObjectText sent(out.at("sent"));
    sent.add("value", hold.sent_value);
    sent.add("unit", hold.sent_unit);
  }
  out.add_or_null("would_be", hold.would_be);
  out.add_or_null("fits_size", hold.fits_size);
  out.add_or_null("fits_lower", hold.fits_lower);
  out.add_or_null("fits_upper", hold.fits_upper);
  out.add_or_null("why", hold.why);
  const auto* part = active_part(walk);
  const auto* feature = part && edition && !part->asked.empty()
                            ? &edition->edition.features[edition->steps[part->asked[walk.standing.pointer]].feature]
                            : nullptr;
  const auto limits = feature ? limit_texts(*feature, part->stage) : LimitTexts{};
  out.add_or_null("lower", limits.lower);
  out.add_or_null("upper", limits.upper);
}

void write_action(std::string& to, const std::string& does, const ShopWords& words) {
  if (does.empty()) {
    to += "null";
    return;
  }
  ObjectText out(to);
  out.add("does", does);
  if (does == "pass_over") out.add("reasons", words.pass_reasons);
  else if (does == "retake" || does == "answer_back" || does == "retake_previous") out.add("reasons", words.retake_reasons);
  else out.add("reasons", nullptr);
}

void next_members(ObjectText& out, const Seen& seen, const WalkState& walk, const PreparedEdition& edition, std::size_t index) {
  const Step& step = edition.steps[index];
  const auto& feature = edition.edition.features[step.feature];
  out.add("feature", feature.key);
  out.add("balloon", feature.balloon);
  out.add("name", feature.name);
  place_of(out, feature, step);
  out.add("kind", kind_name(step.kind));
  const auto gauges = serving_gauges(seen.states, seen.context, walk, edition, index);
  if (gauges.empty()) out.add("gauge_name", nullptr);
  else out.add("gauge_name", seen.states.gauges.at(gauges.front()).card.name);
}

/// The first open step after the present one, of this part or, on a tray, of the part that the plan names.
void write_next(std::string& to, const Seen& seen, const WalkState& walk, const PreparedEdition& edition, const PartState& part) {
  if (in_tray(walk)) {
    const auto next = next_on_tray(walk, true);
    if (next && !(next->slot == part.slot && next->asked == walk.standing.pointer)) {
      const auto& other = next->slot == part.slot ? part : walk.others.at(std::to_string(next->slot));
      ObjectText out(to);
      next_members(out, seen, walk, edition, other.asked[next->asked]);
      out.add("slot", next->slot);
      out.add("serial", other.serial);
      return;
    }
  } else {
    for (std::size_t n = 1; n < part.steps.size(); ++n) {
      const std::size_t asked = (walk.standing.pointer + n) % part.steps.size();
      if (part.steps[asked].status != "open") continue;
      ObjectText out(to);
      next_members(out, seen, walk, edition, part.asked[asked]);
      return;
    }
  }
  to += "null";
}

/// The tray slot by slot; null where no part lies on one.
void write_tray(std::string& to, const WalkState& walk) {
  if (!walk.part || walk.part->slot == 0) {
    to += "null";
    return;
  }
  std::map<std::int64_t, const PartState*> by_slot{{walk.part->slot, &*walk.part}};
  for (const auto& [slot, part] : walk.others) by_slot[part.slot] = &part;
  ListText out(to);
  for (const auto& [slot, part] : by_slot) {
    std::size_t open = 0;
    if (part->end.empty())
      for (const auto& step : part->steps) open += step.status == "open" ? std::size_t{1} : std::size_t{0};
    ObjectText entry(out.next());
    entry.add("slot", slot);
    entry.add("serial", part->serial);
    entry.add("state", part->held ? "held" : part->end.empty() ? "open" : "ended");
    entry.add("ended", !part->end.empty());
    entry.add("open", open);
  }
}

void walk_members(ObjectText& out, const States& states, const WalkState& walk, const PreparedEdition* edition) {
  const auto lot = states.lots.find(walk.lot);
  const auto* part = active_part(walk);
  out.add("key", walk.key);
  out.add("lot", walk.lot);
  if (lot != states.lots.end()) {
    out.add("lot_name", lot->second.lot_name);
    out.add("family", lot->second.family);
    out.add("size", lot->second.size);
    out.add("print_revision", lot->second.print_revision);
    out.add("part_number", lot->second.part_number);
    out.add("machine", lot->second.machine);
    out.add("need", lot->second.need);
    out.add("lot_total", lot->second.last - lot->second.first + 1);
  }
  if (edition) out.add("title", edition->edition.title);
  else out.add("title", nullptr);
  out.add_or_null("drawing", edition ? std::string_view(edition->edition.drawing) : std::string_view());
  out.add("edition", walk.edition);
  if (edition) out.add("edition_number", edition->edition.number);
  else out.add("edition_number", nullptr);
  out.add("stage", walk.stage);
  out.add("person", walk.person);
  if (part) out.add("part", part->key);
  else out.add("part", nullptr);
  if (part) out.add("serial", part->serial);
  else out.add("serial", nullptr);
  if (part && part->slot > 0) out.add("slot", part->slot);
  else out.add("slot", nullptr);
  write_tray(out.at("tray"), walk);
  if (part) out.add("part_stage", part->stage);
  else out.add("part_stage", nullptr);
  out.add("part_held", part && part->held);
  out.add("done", walk.ended_parts);
  out.add("total", walk.last - walk.first + 1);
  out.add("first", walk.first);
  out.add("last", walk.last);
  out.add("tools", walk.tools);
}

void write_tools_wanted(std::string& to, const WalkState& walk, const PreparedEdition& edition, const Context& context) {
  ListText out(to);
  std::vector<std::string_view> met;
  const auto* part = active_part(walk);
  if (!part) return;
  for (const auto index : part->asked) {
    const auto& tool = edition.edition.features[edition.steps[index].feature].tool;
    if (tool.empty() || walk.tools.contains(tool) || std::find(met.begin(), met.end(), tool) != met.end()) continue;
    met.push_back(tool);
    ObjectText entry(out.next());
    entry.add("tool", tool);
    ListText choices(entry.at("choices"));
    for (const auto& known : context.words->tools)
      if (known.kind == tool && known.may_be_used) mirror::append_string(choices.next(), known.id);
  }
}

void write_parked(std::string& to, const Seen& seen, const BenchState& bench) {
  ListText out(to);
  for (const auto& key : bench.parked) {
    const auto walk = seen.states.walks.find(key);
    if (walk == seen.states.walks.end()) continue;
    const auto* edition = edition_of(walk->second, seen.context);
    const auto* part = active_part(walk->second);
    ObjectText entry(out.next());
    walk_members(entry, seen.states, walk->second, edition);
    entry.add("walk", key);
    entry.add("since_utc", utc_text(walk->second.standing.since.utc_us));
    const auto* feature =
        part && edition && !part->asked.empty()
            ? &edition->edition.features[edition->steps[part->asked[walk->second.standing.pointer]].feature]
            : nullptr;
    if (feature) {
      entry.add("balloon", feature->balloon);
      entry.add("name", feature->name);
    } else {
      entry.add("balloon", nullptr);
      entry.add("name", nullptr);
    }
  }
}

void write_earlier(std::string& to, const Surrounding& surrounding, const std::string& lot, const std::string& feature) {
  ListText out(to);
  const auto by_lot = surrounding.earlier.find(lot);
  if (by_lot == surrounding.earlier.end()) return;
  const auto values = by_lot->second.find(feature);
  if (values == by_lot->second.end()) return;
  for (const auto& value : values->second) {
    ObjectText entry(out.next());
    entry.add("serial", value.serial);
    entry.add("value", value.value);
  }
}

/// The members about the walk; `walk` null: none is active. Returns what is asked for.
std::string write_walk(ViewWriter& view, const Seen& seen, const BenchState& bench, const WalkState* walk) {
  static const Standing none;
  const Standing& standing = walk ? walk->standing : none;
  const auto* edition = walk ? edition_of(*walk, seen.context) : nullptr;
  const auto* part = walk ? active_part(*walk) : nullptr;
  const std::string state = walk ? situation(*walk) : "idle";
  const bool step = part && edition && !part->asked.empty();
  std::string ask = walk ? present_ask(*walk) : "idle";
  view.add("ask", ask);
  view.add("state", state);
  if (walk) {
    ObjectText out(view.at("walk"));
    walk_members(out, seen.states, *walk, edition);
  } else {
    view.add("walk", nullptr);
  }
  if (walk) write_hold(view.at("hold"), seen.states, *walk, edition);
  else view.add("hold", nullptr);
  {
    const auto words = walk ? actions_now(seen.states, *walk, seen.context) : ActionWords{};
    ObjectText out(view.at("actions"));
    write_action(out.at("good"), words.good, *seen.context.words);
    write_action(out.at("not_good"), words.not_good, *seen.context.words);
    write_action(out.at("again"), words.again, *seen.context.words);
  }
  if (state == "resumed" && standing.counted) write_last(view.at("last"), seen.states, *standing.counted, true);
  else if (standing.last) write_last(view.at("last"), seen.states, *standing.last, false);
  else if (bench.last) write_last(view.at("last"), seen.states, *bench.last, false);
  else view.add("last", nullptr);
  view.add_or_null("capture", standing.capture);
  const auto trace = state == "capture" ? seen.surrounding.traces.find(standing.capture) : seen.surrounding.traces.end();
  if (trace == seen.surrounding.traces.end()) view.add("trace", nullptr);
  else view.at("trace") = boost::json::serialize(trace->second);
  view.add_or_null("asked_gauge", standing.asked_gauge);
  view.add("sure_to_end", standing.sure_to_end);
  const auto set = step && state == "setting" ? seen.states.gauges.find(standing.setting) : seen.states.gauges.end();
  if (set != seen.states.gauges.end())
    write_setting_step(view.at("step"), set->second, setting_due(set->second, seen.context, seen.now), seen.now);
  else if (step)
    write_step(view.at("step"), seen, *walk, *edition, *part);
  else
    view.add("step", nullptr);
  if (step) {
    write_next(view.at("next"), seen, *walk, *edition, *part);
    write_tools_wanted(view.at("tools_wanted"), *walk, *edition, seen.context);
    const auto& feature = edition->edition.features[edition->steps[part->asked[standing.pointer]].feature];
    write_earlier(view.at("earlier"), seen.surrounding, walk->lot, feature.key);
  } else {
    view.add("next", nullptr);
    view.at("tools_wanted") = "[]";
    view.at("earlier") = "[]";
  }
  return ask;
}

}  // namespace

std::map<std::string, std::string> setting_asks(const States& states, const Context& context, const std::string& bench,
                                                const Stamp& now) {
  std::map<std::string, std::string> out;
  for (const auto& id : gauges_of_bench(states, context, bench))
    if (const auto& gauge = states.gauges.at(id); !setting_due(gauge, context, now).empty()) out[setting_ask(gauge)] = id;
  return out;
}

std::string bench_view(const States& states, const Context& context, const Surrounding& surrounding, const std::string& bench_id,
                const Stamp& now, ViewWriter& view) {
  static const BenchState unknown;
  const Seen seen{states, context, surrounding, now};
  const auto known = states.benches.find(bench_id);
  const BenchState& bench = known == states.benches.end() ? unknown : known->second;
  view.add("bench", bench_id);
  {
    ObjectText out(view.at("keeping"));
    out.add("kept", surrounding.kept);
    out.add("code", surrounding.not_kept_code);
    out.add("why", surrounding.not_kept_why);
    out.add("hint", surrounding.not_kept_hint);
  }
  {
    ObjectText out(view.at("clock"));
    out.add("trusted", surrounding.clock_trusted);
    out.add("code", surrounding.clock_code);
    out.add("why", surrounding.clock_why);
  }
  view.add_or_null("person", bench.person);
  view.add("person_how", bench.person.empty() ? "" : "name stated, not signed in");
  const auto walk = bench.walk.empty() ? states.walks.end() : states.walks.find(bench.walk);
  auto ask = write_walk(view, seen, bench, walk == states.walks.end() ? nullptr : &walk->second);
  const auto gauges = gauges_of_bench(states, context, bench_id);
  {
    ListText due(view.at("settings_due"));
    for (const auto& id : gauges) {
      const auto& gauge = states.gauges.at(id);
      if (const auto why = setting_due(gauge, context, now); !why.empty()) {
        ObjectText out(due.next());
        setting_members(out, gauge, why, now);
      }
    }
  }
  {
    ListText all(view.at("gauges"));
    for (const auto& id : gauges) write_gauge(all.next(), seen, states.gauges.at(id), false);
  }
  write_parked(view.at("parked"), seen, bench);
  std::size_t suspects = 0;
  for (const auto& [fact, suspect] : states.suspects) suspects += suspect.bench == bench_id ? std::size_t{1} : std::size_t{0};
  view.add("suspects", suspects);
  return ask;
}

}  // namespace tallystick::walk
