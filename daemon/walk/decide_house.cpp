// What happens by itself: the daemon starts and stops, displays come and go, gauges are registered, lost and heard
// again, time passes.
#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

bool has(const std::vector<std::string>& list, const std::string& item) {
  return std::find(list.begin(), list.end(), item) != list.end();
}

void resume_walk(Draft& draft, const std::string& key) {
  if (!draft.states.walks.contains(key)) return;
  auto& walk = draft.walk(key);
  auto& standing = walk.state.standing;
  if (!standing.capture.empty()) {   // its samples were in memory alone
    Last last;
    last.what = "capture_dropped";
    last.why = draft.input.kind == "started" ? "restart" : "nobody_told";
    last.gauge = standing.capture;
    last.utc_us = draft.now().utc_us;
    if (walk.has_part()) last.serial = walk.part().serial;
    standing.last = std::move(last);
    standing.capture.clear();
  }
  walk.state.standing.asked_gauge.clear();
  if (walk.state.standing.counted) walk.state.standing.resumed = true;
}

/// A start: nobody has been told anything yet, so every active walk first repeats what it took last.
void started(Draft& draft) {
  for (const auto& id : draft.context.words->benches) draft.bench(id);
  for (const auto& [id, state] : draft.states.benches) {
    draft.bench(id).displays.clear();
    if (!state.walk.empty()) resume_walk(draft, state.walk);
  }
  // Of a setting at two points half is none: it may have been switched off in between.
  for (const auto& [id, gauge] : draft.states.gauges)
    if (!gauge.first_read.empty()) draft.gauge(id).state.first_read.clear();
  draft.out.what = "started";
}

Done display_changed(Draft& draft, bool came) {
  const auto display = body_text(draft.input, "display");
  if (!display) return tl::unexpected(display.error());
  auto& bench = draft.bench(draft.input.bench);
  if (came == has(bench.displays, *display)) return fail("unchanged", "that display is known to be so", *display);
  if (came) {
    bench.displays.push_back(*display);
    if (!bench.walk.empty()) {
      auto& hold = draft.walk(bench.walk).state.standing.hold;
      if (hold && hold->kind == "nobody_told") hold.reset();
    }
  } else {
    std::erase(bench.displays, *display);
    // Whoever was told of the last reading is gone: it is told again before anything counts.
    if (bench.displays.empty() && !bench.walk.empty()) resume_walk(draft, bench.walk);
  }
  draft.out.what = came ? "display_came" : "display_went";
  return {};
}

Done gauge_card(Draft& draft) {
  const auto* card = draft.input.body.if_contains("card");
  if (!card) return fail("wrong_shape", "\"card\" is missing", draft.input.kind);
  shop::GaugeCard read;
  if (auto done = mirror::read(*card, read, "card"); !done) return done;
  auto& gauge = draft.gauge(read.id);
  // Another master, another size of it: what was set is not set any more.
  if (!(gauge.state.card.setting == read.setting)) {
    if (gauge.state.fitness == "fit") gauge.state.fitness = "unset";
    gauge.state.first_read.clear();
  }
  gauge.state.card = read;
  draft.about_gauge = read.id;
  draft.out.what = draft.input.kind;
  return {};
}

Done gauge_came_or_went(Draft& draft, bool lost) {
  const auto id = body_text(draft.input, "gauge");
  if (!id) return tl::unexpected(id.error());
  if (!draft.states.gauges.contains(*id)) return fail("unknown_gauge", "no gauge \"" + *id + "\"", "gauge");
  auto& gauge = draft.gauge(*id);
  draft.about_gauge = *id;
  if (lost && has(gauge.state.card.setting.void_on, "port") && gauge.state.fitness == "fit") {
    gauge.state.void_why = "port";
    gauge.state.void_at = draft.now();
  }
  draft.out.what = lost ? "gauge_lost" : "gauge_heard";
  draft.out.tone = lost ? "lost" : "";
  return {};
}

}  // namespace

Done decide_house_event(Draft& draft) {
  const auto& kind = draft.input.kind;
  if (kind == "started") {
    started(draft);
    return {};
  }
  if (kind == "display_came" || kind == "display_went") return display_changed(draft, kind == "display_came");
  if (kind == "gauge_registered" || kind == "gauge_changed") return gauge_card(draft);
  if (kind == "gauge_lost" || kind == "gauge_heard") return gauge_came_or_went(draft, kind == "gauge_lost");
  if (kind == "time_reached") {
    auto walk = active_walk(draft);
    if (!walk) return tl::unexpected(walk.error());
    draft.out.what = "time_reached";
    return {};
  }
  // stopped, told, clock_stepped, journal_branched, refusals_counted, clock_confirmed, not_answered, notice_cleared: kept as they came.
  if (kind == "notice_cleared")
    if (const auto person = body_text(draft.input, "person", false); person) draft.person = *person;
  if (const auto gauge = body_text(draft.input, "gauge", false); gauge) draft.about_gauge = *gauge;
  if (kind == "not_answered")
    if (const auto bench = draft.states.benches.find(draft.input.bench); bench != draft.states.benches.end() && !bench->second.walk.empty()) {
      auto& walk = draft.walk(bench->second.walk);
      walk.state.standing.asked_gauge.clear();
      Last last;
      last.what = "not_answered";
      last.gauge = draft.about_gauge;
      last.utc_us = draft.now().utc_us;
      say(draft, walk, std::move(last), "hold");
    }
  draft.out.what = kind;
  return {};
}

}  // namespace tallystick::walk
