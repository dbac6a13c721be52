// The end of a capture with samples. Its value then goes the way of every reading (decide_reading.cpp).
#include "daemon/walk/draft.hpp"
#include "daemon/walk/working.hpp"

namespace tallystick::walk {

Done keep_captured(Draft& draft, const WalkDraft* walk) {
  const auto& captured = *draft.input.captured;
  const auto& gauge = draft.input.reading->gauge;
  if (!walk || walk->state.standing.capture != gauge)
    return fail("not_now", "no capture of this gauge is under way", gauge, "begin one at its step");
  const auto& head = captured.named.head;
  if (head.ended_by == "action" || draft.input.body.contains("action")) {
    const auto least_ns = walk->edition ? 1000 * walk->prepared(walk->state.standing.pointer).least_us : 0;
    if (elapsed_ns(walk->state.standing.capture_begun, draft.now()) < least_ns)
      return fail("too_short", "the capture has run for less than the checklist asks for", walk->state.bench,
                  "let it run: a turn takes longer; *not good* drops it");
  }
  draft.out.capture = captured.named;
  draft.attachments.push_back({captured.named.sha256, capture_media_type, captured.bytes});
  return {};
}

std::optional<derive::SweepFigures> sweep_of(const Captured& captured, const PreparedFeature& prepared) {
  if (captured.named.head.kind != "sweep" || prepared.feeds.empty()) return {};
  const auto kept = capture_from(captured.bytes);
  if (!kept) return {};
  return sweep_figures_of(*kept, prepared.turns);
}

derive::SweepFigures sweep_figures_of(const CaptureKept& kept, double turns) {
  const auto unit = Unit::named(kept.head.unit);
  std::vector<Quantity> samples;
  // What came before the movement that began it belongs to no turn.
  for (const auto& sample : kept.samples)
    if (unit && sample.at_us >= kept.head.moved_us) samples.push_back(Quantity::of_count(sample.count, *unit));
  return derive::sweep_figures(samples, turns);
}

void hold_broken_capture(Draft& draft, WalkDraft& walk) {
  Hold broken;
  broken.kind = "capture";
  broken.gauge = draft.input.reading->gauge;
  // A question of value or size stays what the walk waits for; that the capture broke is said by the outcome
  // alone then.
  const auto& now = walk.state.standing.hold;
  if (!now || !(now->hard || now->kind == "value" || now->kind == "size"))
    return hold(draft, walk, broken, draft.input.captured->named.head.broken);
  Last last;
  last.what = "not_counted";
  last.why = draft.input.captured->named.head.broken;
  last.gauge = broken.gauge;
  last.utc_us = draft.now().utc_us;
  if (walk.has_part()) last.serial = walk.part().serial;
  say(draft, walk, std::move(last), "hold");
}

void follow_capture(WalkDraft& walk) {
  auto& standing = walk.state.standing;
  if (standing.capture.empty()) return;
  const auto step_of = [](const WalkState& state) {
    const auto& part = state.standing.in_previous ? state.previous : state.part;
    return std::tuple(part ? part->key : "", part ? part->serial : 0, state.standing.in_previous,
                      state.standing.pointer);
  };
  const bool began_here = !walk.before || walk.before->standing.capture != standing.capture ||
                          !(walk.before->standing.capture_begun == standing.capture_begun);
  const bool gone = !walk.has_part() || (!began_here && step_of(*walk.before) != step_of(walk.state)) ||
                    (standing.hold && standing.hold->hard);
  if (gone) standing.capture.clear();
}

}  // namespace tallystick::walk
