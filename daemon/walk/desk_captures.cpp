// The captures that run now: samples go in as they come, nothing of them is decided before the capture's end.
// They are in memory only and belong to what is committed: begun by the event that began them, gone with it.
#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/desk.hpp"

namespace tallystick::walk {

namespace json = boost::json;

namespace {

constexpr std::int64_t between_pictures_ns = 200'000'000;
constexpr std::size_t picture_points = 160;

Captured captured_from(const std::string& gauge, const Capture& capture, const CaptureEnd& end) {
  const auto kept = kept_of(gauge, capture, end);
  Captured out;
  out.bytes = to_bytes(kept);
  out.named = {checklist::sha256_hex(out.bytes), kept.head};
  return out;
}

json::value text_or_null(const std::optional<Quantity>& value) {
  return value ? json::value(value->text()) : json::value(nullptr);
}

std::optional<Quantity> so_far(const Capture& capture) {
  switch (capture.rule().value) {
    case CaptureValue::max:
      return capture.greatest();
    case CaptureValue::min:
      return capture.least();
    case CaptureValue::span:
      return capture.span();
    default:
      return capture.last();
  }
}

json::object trace_of(const std::string& gauge, const Capture& capture, const Stamp& now) {
  const auto& rule = capture.rule();
  json::object out;
  out["gauge"] = gauge;
  out["kind"] = boost::describe::enum_to_string(rule.kind, "");
  out["value_of"] = boost::describe::enum_to_string(rule.value, "");
  out["unit"] = capture.samples() > 0 ? json::value(capture.unit().name()) : json::value(nullptr);
  out["waits"] = capture.waits_for_movement();
  out["samples"] = capture.samples();
  out["ms"] = elapsed_ns(capture.begun(), now) / 1'000'000;
  out["end_after_ms"] = rule.end_after_us > 0 ? json::value(rule.end_after_us / 1000) : json::value(nullptr);
  out["value"] = text_or_null(so_far(capture));
  out["last"] = text_or_null(capture.last());
  out["least"] = text_or_null(capture.least());
  out["greatest"] = text_or_null(capture.greatest());
  json::array points;
  for (const auto& point : capture.picture(picture_points))
    points.push_back(json::array{point.at_us / 1000, Quantity::of_count(point.count, capture.unit()).text()});
  out["points"] = std::move(points);
  return out;
}

}  // namespace

void Desk::follow_captures(const std::string& bench) {
  const auto known = states_.benches.find(bench);
  const WalkState* walk = nullptr;
  if (known != states_.benches.end())
    if (const auto found = states_.walks.find(known->second.walk); found != states_.walks.end())
      walk = &found->second;
  const std::string gauge = walk ? walk->standing.capture : "";
  std::erase_if(captures_, [&](const auto& live) {
    const bool gone = live.second.bench == bench &&
                      (live.first != gauge || !(live.second.capture.begun() == walk->standing.capture_begun));
    if (gone) surrounding_.traces.erase(live.first);
    return gone;
  });
  if (gauge.empty() || captures_.contains(gauge)) return;
  std::map<std::string, Stamp> told;
  const auto* rule = capture_rule(*walk, context_for(bench, told));
  if (!rule) return;
  captures_.emplace(gauge,
                    LiveCapture{Capture(*rule, walk->standing.capture_begun), bench, {}, true, false, 0});
  show_capture(gauge, seams_.now(), true);
}

void Desk::show_capture(const std::string& gauge, const Stamp& now, bool at_once) {
  auto& live = captures_.at(gauge);
  if (!at_once && now.steady_ns - live.shown_ns < between_pictures_ns) return;
  live.shown_ns = now.steady_ns;
  surrounding_.traces[gauge] = trace_of(gauge, live.capture, now);
  refresh_view(live.bench);
}

void Desk::take_sample(const Reading& reading) {
  auto& live = captures_.at(reading.gauge);
  // A frame that was on its way when the person acted is of before.
  if (live.ending || elapsed_ns(live.capture.begun(), reading.frame.first) <= 0) return;
  live.port = reading.port;
  live.unit_in_frame = reading.decoded.unit_in_frame;
  live.capture.take(reading.decoded, reading.stamp());
  if (live.capture.ended())
    end_capture(reading.gauge, reading.stamp());
  else
    show_capture(reading.gauge, reading.stamp(), false);
}

void Desk::break_capture(const std::string& gauge, const std::function<void(Capture&)>& how,
                         const Stamp& now) {
  const auto live = captures_.find(gauge);
  if (live == captures_.end() || live->second.ending) return;
  how(live->second.capture);
  if (live->second.capture.ended()) end_capture(gauge, now);
}

void Desk::may_have_lost(const std::string& gauge, const Refusal& refusal, const Frame& frame) {
  break_capture(
      gauge,
      [&](Capture& capture) {
        if (elapsed_ns(capture.begun(), frame.first) > 0) capture.refused(refusal.reason, frame.last);
      },
      frame.last);
}

void Desk::pass_captures(const Stamp& now) {
  std::vector<std::string> gauges;
  for (const auto& [gauge, live] : captures_) gauges.push_back(gauge);
  for (const auto& gauge : gauges)
    break_capture(
        gauge, [&](Capture& capture) { capture.pass(now); }, now);
}

namespace {

/// The input that a capture's end is. Where it broke there is no value: that of the reading is nothing then.
Input end_of(const std::string& gauge, const std::string& port, bool unit_in_frame, const Capture& capture,
             const Stamp& now) {
  const auto end = capture.end(now);
  Input input;
  input.kind = "capture_ended";
  input.stamp = now;
  input.captured = captured_from(gauge, capture, end);
  Reading reading;
  reading.gauge = gauge;
  reading.port = port;
  reading.cause = Cause::streamed;
  reading.frame.first = reading.frame.last = now;
  reading.decoded.unit_in_frame = unit_in_frame;
  reading.decoded.quantity = end.value.value_or(Quantity::of_count(0, end.unit));
  if (end.value) reading.decoded.value_text = end.value->text();
  input.reading = std::move(reading);
  return input;
}

}  // namespace

void Desk::end_capture(const std::string& gauge, const Stamp& now) {
  auto& live = captures_.at(gauge);
  live.ending = true;
  auto input = end_of(gauge, live.port, live.unit_in_frame, live.capture, now);
  input.bench = live.bench;
  const auto begun = live.capture.begun();
  take(std::move(input), {}, [this, gauge, begun](const Expected<json::object>& kept) {
    // Not kept: it is still there, and comes again with the next second.
    const auto again = captures_.find(gauge);
    if (!kept && again != captures_.end() && again->second.capture.begun() == begun)
      again->second.ending = false;
  });
}

std::optional<Input> Desk::ends_capture(const Input& input) const {
  if (input.kind != "act") return {};
  const auto* action = input.body.if_contains("action");
  if (!action || !action->is_string() || action->as_string() != "good") return {};
  const auto bench = states_.benches.find(input.bench);
  const auto walk =
      bench == states_.benches.end() ? states_.walks.end() : states_.walks.find(bench->second.walk);
  if (walk == states_.walks.end() || situation(walk->second) != "capture") return {};
  const auto live = captures_.find(walk->second.standing.capture);
  std::map<std::string, Stamp> told;
  const auto words = actions_now(states_, walk->second, context_for(input.bench, told));
  if (live == captures_.end() || live->second.ending || words.good != "end_capture") return {};
  auto out =
      end_of(live->first, live->second.port, live->second.unit_in_frame, live->second.capture, input.stamp);
  out.bench = input.bench;
  out.saw = input.saw;
  out.idempotency_key = input.idempotency_key;
  out.display = input.display;
  out.body = input.body;
  return out;
}

}  // namespace tallystick::walk
