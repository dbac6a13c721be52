#include "daemon/walk/view.hpp"

#include "daemon/measure/json_mirror.hpp"

namespace tallystick::walk {

namespace json = boost::json;

namespace {

json::value text_or_null(const std::string& text) { return text.empty() ? json::value(nullptr) : json::value(text); }

const PartState* active_part(const WalkState& walk) {
  const auto& part = walk.standing.in_previous ? walk.previous : walk.part;
  return part ? &*part : nullptr;
}

json::object setting_of(const GaugeState& gauge, const std::string& why, const Stamp& now) {
  json::object out;
  const auto point = setting_point(gauge);
  out["gauge"] = gauge.card.id;
  out["name"] = gauge.card.name;
  out["master"] = point.master;
  out["size"] = point.size;
  out["limit"] = point.limit;
  out["uncertainty"] = text_or_null(point.uncertainty);
  out["point"] = point.second ? 2 : 1;
  out["points"] = gauge.card.setting.master_2.empty() ? 1 : 2;
  out["master_overdue"] = overdue(point, now) ? json::value(point.due) : json::value(nullptr);
  out["unit"] = gauge.card.unit;
  out["phase"] = gauge.fitness == "failed" ? "as_left" : "as_found";
  out["attempt"] = gauge.as_found.size() + 1;
  out["reads"] = gauge.card.reads;
  out["why"] = why;
  return out;
}

json::object setting_step(const GaugeState& gauge, const std::string& why, const Stamp& now) {
  json::object out = setting_of(gauge, why, now);
  const auto point = setting_point(gauge);
  out["kind"] = "setting";
  out["nominal"] = point.size;
  if (const auto unit = Unit::named(gauge.card.unit))
    if (const auto limits = limits_at(point, *unit)) {
      out["lower"] = limits->lower->text(*unit).value_or("");
      out["upper"] = limits->upper->text(*unit).value_or("");
    }
  return out;
}

json::object gauge_of(const GaugeState& gauge, const Context& context, const Surrounding& surrounding, const Stamp& now) {
  json::object out;
  const auto line = surrounding.lines.find(gauge.card.id);
  const GaugeLine known = line == surrounding.lines.end() ? GaugeLine{} : line->second;
  const std::string due = setting_due(gauge, context, now);
  out["id"] = gauge.card.id;
  out["name"] = gauge.card.name;
  out["kind"] = gauge.card.kind;
  out["speaks"] = gauge.card.speaks;
  out["unit"] = gauge.card.unit;
  out["port_state"] = known.port_state;
  out["port_why"] = text_or_null(known.why);
  out["since_utc"] = known.since_utc_us ? json::value(utc_text(known.since_utc_us)) : json::value(nullptr);
  out["last_heard_utc"] = known.last_heard_utc_us ? json::value(utc_text(known.last_heard_utc_us)) : json::value(nullptr);
  out["fit"] = gauge.card.may_be_used && due.empty();
  out["why"] = !gauge.card.may_be_used ? json::value(gauge.card.why_not) : text_or_null(due);
  const auto until = setting_void_at_utc_us(gauge);
  out["void_at_utc"] = until ? json::value(utc_text(*until)) : json::value(nullptr);
  const auto& rule = gauge.card.setting;
  out["parts_left"] = rule.parts > 0 && gauge.fitness == "fit" ? json::value(std::max<std::int64_t>(0, rule.parts - gauge.parts_since))
                                                              : json::value(nullptr);
  return out;
}

/// How a stream is captured; null where it is not, or by one frame alone.
json::value capture_of(const checklist::Feature& feature) {
  if (feature.kind != "capture" || feature.capture.empty() || feature.capture == "now") return nullptr;
  const auto ms = [](int value) { return value > 0 ? json::value(value) : json::value(nullptr); };
  return {{"kind", feature.capture}, {"movement", text_or_null(feature.movement)}, {"window", text_or_null(feature.window)},
          {"settle_ms", ms(feature.settle_ms)}, {"end_after_ms", ms(feature.end_after_ms)}, {"turns", ms(feature.turns)}};
}

json::object step_of(const States& states, const Context& context, const Surrounding& surrounding, const WalkState& walk,
                     const PreparedEdition& edition, const PartState& part, const Stamp& now) {
  const std::size_t pointer = walk.standing.pointer;
  const Step& step = edition.steps[part.asked[pointer]];
  const auto& feature = edition.edition.features[step.feature];
  json::object out;
  out["index"] = pointer + 1;
  out["count"] = part.asked.size();
  std::size_t done = 0;
  for (const auto& state : part.steps) done += state.status == "open" ? std::size_t{0} : std::size_t{1};
  out["done"] = done;
  out["feature"] = feature.key;
  out["balloon"] = feature.balloon;
  out["name"] = feature.name;
  out["class"] = feature.feature_class;
  out["kind"] = boost::describe::enum_to_string(step.kind, "");
  out["place"] = step.place < feature.places.size() ? json::value(feature.places[step.place]) : json::value(nullptr);
  out["place_index"] = step.place;
  out["places"] = mirror::write(feature.places);
  out["unit"] = text_or_null(feature.unit);
  out["nominal"] = text_or_null(feature.nominal);
  const auto limits = limit_texts(feature, part.stage);
  out["lower"] = text_or_null(limits.lower);
  out["upper"] = text_or_null(limits.upper);
  out["decimals"] = feature.decimals;
  out["judged"] = !feature.unjudged;
  out["limits_of"] = feature.unit.empty() || feature.unjudged ? json::value(nullptr) : json::value(limits_of_stage(feature, part.stage));
  out["judging"] = edition.edition.judging;
  out["decision"] = feature.certainty.decision;
  out["uncertainty"] = text_or_null(feature.certainty.uncertainty);
  json::array serves;
  for (const auto derived : edition.features[step.feature].feeds)
    serves.push_back({{"feature", edition.edition.features[derived].key}, {"balloon", edition.edition.features[derived].balloon},
                      {"name", edition.edition.features[derived].name}});
  out["serves"] = std::move(serves);
  out["reduction"] = feature.reduction;
  out["method"] = text_or_null(feature.method);
  out["question"] = text_or_null(step.kind == checklist::StepKind::no_go ? feature.question_no_go : feature.question_good);
  out["tool"] = text_or_null(feature.tool);
  const auto tool = walk.tools.find(feature.tool);
  out["tool_id"] = tool == walk.tools.end() ? json::value(nullptr) : json::value(tool->second);
  out["capture"] = capture_of(feature);
  out["edge"] = text_or_null(feature.edge);
  out["ruler"] = text_or_null(feature.ruler);
  out["material"] = text_or_null(feature.material);
  out["attempt"] = counted_attempts(part.steps[pointer]) + 1;
  out["gauge_kind"] = text_or_null(feature.gauge_kind);
  json::array gauges;
  for (const auto& id : serving_gauges(states, walk, edition, part.asked[pointer])) {
    auto gauge = gauge_of(states.gauges.at(id), context, surrounding, now);
    gauge["state"] = gauge["port_state"];
    gauges.push_back(std::move(gauge));
  }
  out["gauges"] = std::move(gauges);
  return out;
}

json::value last_of(const States& states, const Last& last, bool repeated) {
  json::object out = mirror::write(last).as_object();
  json::object full;
  full["key"] = last.event;
  full["what"] = last.what;
  for (const char* member : {"feature", "balloon", "name", "place", "kind", "value", "unit", "lower", "upper", "nominal", "verdict",
                             "side", "by", "gauge", "edge", "ruler", "material", "why", "limits_of", "judging", "decision"})
    full[member] = out.if_contains(member) ? out.at(member) : json::value(nullptr);
  full["serial"] = last.serial ? json::value(last.serial) : json::value(nullptr);
  full["decimals"] = last.decimals;
  full["material_left"] = last.material_left;
  full["stands"] = last.stands;
  full["measured_again"] = last.measured_again;
  full["typed"] = last.typed;
  full["confirmed"] = last.confirmed;
  full["zero"] = text_or_null(last.zero);
  full["gain"] = text_or_null(last.gain);
  full["repeated"] = repeated;
  full["utc"] = utc_text(last.utc_us);
  full["derived"] = mirror::write<true>(last.derived);
  const auto gauge = states.gauges.find(last.gauge);
  full["gauge_name"] = gauge == states.gauges.end() ? json::value(nullptr) : json::value(gauge->second.card.name);
  full["sent"] = last.sent_value.empty() ? json::value(nullptr)
                                         : json::value({{"value", last.sent_value}, {"unit", last.sent_unit}});
  full["result"] = last.result_verdict.empty()
                       ? json::value(nullptr)
                       : json::value({{"verdict", last.result_verdict}, {"value", text_or_null(last.result_value)},
                                      {"least", text_or_null(last.result_least)}, {"greatest", text_or_null(last.result_greatest)}});
  return full;
}

json::value hold_of(const States& states, const WalkState& walk, const PreparedEdition* edition) {
  if (!walk.standing.hold) return nullptr;
  const Hold& hold = *walk.standing.hold;
  json::object out;
  out["key"] = hold.event;
  out["kind"] = hold.kind;
  out["hard"] = hold.hard;
  out["gauge"] = text_or_null(hold.gauge);
  const auto gauge = states.gauges.find(hold.gauge);
  out["gauge_name"] = gauge == states.gauges.end() ? json::value(nullptr) : json::value(gauge->second.card.name);
  out["value"] = text_or_null(hold.value);
  out["unit"] = text_or_null(hold.unit);
  out["sent"] = hold.sent_value.empty() ? json::value(nullptr)
                                        : json::value({{"value", hold.sent_value}, {"unit", hold.sent_unit}});
  out["would_be"] = text_or_null(hold.would_be);
  out["fits_size"] = text_or_null(hold.fits_size);
  out["fits_lower"] = text_or_null(hold.fits_lower);
  out["fits_upper"] = text_or_null(hold.fits_upper);
  out["why"] = text_or_null(hold.why);
  out["lower"] = out["upper"] = nullptr;
  if (const auto* part = active_part(walk); part && edition && !part->asked.empty()) {
    const auto& feature = edition->edition.features[edition->steps[part->asked[walk.standing.pointer]].feature];
    const auto limits = limit_texts(feature, part->stage);
    out["lower"] = text_or_null(limits.lower);
    out["upper"] = text_or_null(limits.upper);
  }
  return out;
}

json::value action_of(const std::string& does, const ShopWords& words) {
  if (does.empty()) return nullptr;
  json::object out;
  out["does"] = does;
  out["reasons"] = does == "pass_over"                                                      ? mirror::write(words.pass_reasons)
                   : does == "retake" || does == "answer_back" || does == "retake_previous" ? mirror::write(words.retake_reasons)
                                                                                            : json::value(nullptr);
  return out;
}

json::object next_step(const States& states, const WalkState& walk, const PreparedEdition& edition, std::size_t index) {
  const Step& step = edition.steps[index];
  const auto& feature = edition.edition.features[step.feature];
  json::object out;
  out["feature"] = feature.key;
  out["balloon"] = feature.balloon;
  out["name"] = feature.name;
  out["place"] = step.place < feature.places.size() ? json::value(feature.places[step.place]) : json::value(nullptr);
  out["kind"] = boost::describe::enum_to_string(step.kind, "");
  const auto gauges = serving_gauges(states, walk, edition, index);
  out["gauge_name"] = gauges.empty() ? json::value(nullptr) : json::value(states.gauges.at(gauges.front()).card.name);
  return out;
}

/// The first open step after the present one, of this part or, on a tray, of the part that the plan names.
json::value next_of(const States& states, const WalkState& walk, const PreparedEdition& edition, const PartState& part) {
  if (in_tray(walk)) {
    const auto next = next_on_tray(walk, true);
    if (!next || (next->slot == part.slot && next->asked == walk.standing.pointer)) return nullptr;
    const auto& other = next->slot == part.slot ? part : walk.others.at(std::to_string(next->slot));
    auto out = next_step(states, walk, edition, other.asked[next->asked]);
    out["slot"] = next->slot;
    out["serial"] = other.serial;
    return out;
  }
  for (std::size_t n = 1; n < part.steps.size(); ++n) {
    const std::size_t asked = (walk.standing.pointer + n) % part.steps.size();
    if (part.steps[asked].status != "open") continue;
    return next_step(states, walk, edition, part.asked[asked]);
  }
  return nullptr;
}

/// The tray slot by slot; null where no part lies on one.
json::value tray_of(const WalkState& walk) {
  if (!walk.part || walk.part->slot == 0) return nullptr;
  std::map<std::int64_t, const PartState*> by_slot{{walk.part->slot, &*walk.part}};
  for (const auto& [slot, part] : walk.others) by_slot[part.slot] = &part;
  json::array out;
  for (const auto& [slot, part] : by_slot) {
    std::size_t open = 0;
    if (part->end.empty())
      for (const auto& step : part->steps) open += step.status == "open" ? std::size_t{1} : std::size_t{0};
    out.push_back({{"slot", slot}, {"serial", part->serial}, {"state", part->held ? "held" : part->end.empty() ? "open" : "ended"},
                   {"ended", !part->end.empty()}, {"open", open}});
  }
  return out;
}

json::value walk_of(const States& states, const WalkState& walk, const PreparedEdition* edition) {
  json::object out;
  const auto lot = states.lots.find(walk.lot);
  const auto* part = active_part(walk);
  out["key"] = walk.key;
  out["lot"] = walk.lot;
  if (lot != states.lots.end()) {
    out["lot_name"] = lot->second.lot_name;
    out["family"] = lot->second.family;
    out["size"] = lot->second.size;
    out["print_revision"] = lot->second.print_revision;
    out["part_number"] = lot->second.part_number;
    out["machine"] = lot->second.machine;
    out["need"] = lot->second.need;
    out["lot_total"] = lot->second.last - lot->second.first + 1;
  }
  out["title"] = edition ? json::value(edition->edition.title) : json::value(nullptr);
  out["drawing"] = edition ? text_or_null(edition->edition.drawing) : json::value(nullptr);
  out["edition"] = walk.edition;
  out["edition_number"] = edition ? json::value(edition->edition.number) : json::value(nullptr);
  out["stage"] = walk.stage;
  out["person"] = walk.person;
  out["part"] = part ? json::value(part->key) : json::value(nullptr);
  out["serial"] = part ? json::value(part->serial) : json::value(nullptr);
  out["slot"] = part && part->slot > 0 ? json::value(part->slot) : json::value(nullptr);
  out["tray"] = tray_of(walk);
  out["part_stage"] = part ? json::value(part->stage) : json::value(nullptr);
  out["part_held"] = part && part->held;
  out["done"] = walk.ended_parts;
  out["total"] = walk.last - walk.first + 1;
  out["first"] = walk.first;
  out["last"] = walk.last;
  out["tools"] = mirror::write(walk.tools);
  return out;
}

json::array tools_wanted(const WalkState& walk, const PreparedEdition& edition, const Context& context) {
  json::array out;
  std::vector<std::string> seen;
  const auto* part = active_part(walk);
  if (!part) return out;
  for (const auto index : part->asked) {
    const auto& tool = edition.edition.features[edition.steps[index].feature].tool;
    if (tool.empty() || walk.tools.contains(tool) || std::find(seen.begin(), seen.end(), tool) != seen.end()) continue;
    seen.push_back(tool);
    json::array choices;
    for (const auto& known : context.words->tools)
      if (known.kind == tool && known.may_be_used) choices.emplace_back(known.id);
    out.push_back({{"tool", tool}, {"choices", std::move(choices)}});
  }
  return out;
}

json::array parked_of(const States& states, const BenchState& bench, const Context& context) {
  json::array out;
  for (const auto& key : bench.parked) {
    const auto walk = states.walks.find(key);
    if (walk == states.walks.end()) continue;
    const auto* edition = edition_of(walk->second, context);
    const auto* part = active_part(walk->second);
    json::object entry = walk_of(states, walk->second, edition).as_object();
    entry["walk"] = key;
    entry["since_utc"] = utc_text(walk->second.standing.since.utc_us);
    entry["balloon"] = entry["name"] = nullptr;
    if (part && edition && !part->asked.empty()) {
      const auto& feature = edition->edition.features[edition->steps[part->asked[walk->second.standing.pointer]].feature];
      entry["balloon"] = feature.balloon;
      entry["name"] = feature.name;
    }
    out.push_back(std::move(entry));
  }
  return out;
}

json::array earlier_of(const Surrounding& surrounding, const std::string& lot, const std::string& feature) {
  json::array out;
  const auto by_lot = surrounding.earlier.find(lot);
  if (by_lot == surrounding.earlier.end()) return out;
  const auto values = by_lot->second.find(feature);
  if (values == by_lot->second.end()) return out;
  for (const auto& value : values->second) out.push_back({{"serial", value.serial}, {"value", value.value}});
  return out;
}

void walk_members(json::object& view, const States& states, const Context& context, const Surrounding& surrounding,
                  const WalkState& walk, const Stamp& now) {
  const auto* edition = edition_of(walk, context);
  const auto* part = active_part(walk);
  const std::string state = situation(walk);
  view["state"] = state;
  view["ask"] = present_ask(walk);
  view["walk"] = walk_of(states, walk, edition);
  view["hold"] = hold_of(states, walk, edition);
  const auto words = actions_now(states, walk, context);
  view["actions"] = {{"good", action_of(words.good, *context.words)},
                     {"not_good", action_of(words.not_good, *context.words)},
                     {"again", action_of(words.again, *context.words)}};
  if (walk.standing.last) view["last"] = last_of(states, *walk.standing.last, false);
  if (state == "resumed" && walk.standing.counted) view["last"] = last_of(states, *walk.standing.counted, true);
  view["capture"] = text_or_null(walk.standing.capture);
  const auto trace = state == "capture" ? surrounding.traces.find(walk.standing.capture) : surrounding.traces.end();
  view["trace"] = trace == surrounding.traces.end() ? json::value(nullptr) : json::value(trace->second);
  view["asked_gauge"] = text_or_null(walk.standing.asked_gauge);
  view["sure_to_end"] = walk.standing.sure_to_end;
  if (!part || !edition || part->asked.empty()) return;
  view["step"] = step_of(states, context, surrounding, walk, *edition, *part, now);
  view["next"] = next_of(states, walk, *edition, *part);
  view["tools_wanted"] = tools_wanted(walk, *edition, context);
  const auto& feature = edition->edition.features[edition->steps[part->asked[walk.standing.pointer]].feature];
  view["earlier"] = earlier_of(surrounding, walk.lot, feature.key);
  if (state != "setting") return;
  if (const auto gauge = states.gauges.find(walk.standing.setting); gauge != states.gauges.end())
    view["step"] = setting_step(gauge->second, setting_due(gauge->second, context, now), now);
}

}  // namespace

std::map<std::string, std::string> setting_asks(const States& states, const Context& context, const std::string& bench,
                                                const Stamp& now) {
  std::map<std::string, std::string> out;
  for (const auto& [id, gauge] : states.gauges)
    if (gauge.card.bench == bench && !setting_due(gauge, context, now).empty()) out[setting_ask(gauge)] = id;
  return out;
}

json::object bench_view(const States& states, const Context& context, const Surrounding& surrounding,
                        const std::string& bench_id, const Stamp& now) {
  json::object view;
  const auto known = states.benches.find(bench_id);
  const BenchState bench = known == states.benches.end() ? BenchState{} : known->second;
  view["bench"] = bench_id;
  view["ask"] = "idle";
  view["state"] = "idle";
  view["keeping"] = {{"kept", surrounding.kept}, {"code", surrounding.not_kept_code},
                     {"why", surrounding.not_kept_why}, {"hint", surrounding.not_kept_hint}};
  view["clock"] = {{"trusted", surrounding.clock_trusted}, {"code", surrounding.clock_code}, {"why", surrounding.clock_why}};
  view["person"] = text_or_null(bench.person);
  view["person_how"] = bench.person.empty() ? "" : "name stated, not signed in";
  for (const char* member : {"walk", "step", "last", "hold", "next", "capture", "trace", "asked_gauge"}) view[member] = nullptr;
  view["sure_to_end"] = false;
  view["earlier"] = json::array();
  view["tools_wanted"] = json::array();
  view["actions"] = {{"good", nullptr}, {"not_good", nullptr}, {"again", nullptr}};
  if (bench.last) view["last"] = last_of(states, *bench.last, false);
  const auto walk = bench.walk.empty() ? states.walks.end() : states.walks.find(bench.walk);
  if (walk != states.walks.end()) walk_members(view, states, context, surrounding, walk->second, now);
  json::array due, gauges;
  for (const auto& [id, gauge] : states.gauges) {
    if (gauge.card.bench != bench_id) continue;
    gauges.push_back(gauge_of(gauge, context, surrounding, now));
    if (const auto why = setting_due(gauge, context, now); !why.empty()) due.push_back(setting_of(gauge, why, now));
  }
  view["settings_due"] = std::move(due);
  view["gauges"] = std::move(gauges);
  view["parked"] = parked_of(states, bench, context);
  std::size_t suspects = 0;
  for (const auto& [fact, suspect] : states.suspects) suspects += suspect.bench == bench_id ? std::size_t{1} : std::size_t{0};
  view["suspects"] = suspects;
  return view;
}

}  // namespace tallystick::walk
