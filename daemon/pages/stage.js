// The stage: the drawing, the ruler of what is asked for now, the ruler of what came last, and the line from its mark to
// its value.
import { draw } from "./dom.js";
import { anchor, draw_ruler, place_labels } from "./ruler.js";

const same_place = (step, last) => last && step && last.feature === step.feature;

/// From the middle of a ruler to the stage's end on its way, at most `most` pixels.
function room(place, stage, most) {
  const [x, y] = place.point, [wx, wy] = place.way;
  const along = (point, way, size) => way > .01 ? (size - 14 - point) / way : way < -.01 ? (14 - point) / way : Infinity;
  const forth = Math.min(along(x, wx, stage.width), along(y, wy, stage.height));
  const back = Math.min(along(x, -wx, stage.width), along(y, -wy, stage.height));
  return Math.max(24, Math.min(most, Math.min(forth, back) / 1.12));
}

/// Where the drawing gives a feature no place, the ruler stands beside the value, upright, larger being up.
function beside(stage_place, value_place) {
  stage_place.classList.add("beside");
  const stage = stage_place.getBoundingClientRect(), value = value_place.getBoundingClientRect();
  return { point: [value.left - stage.left + parseFloat(getComputedStyle(value_place).paddingLeft) * .68, value.top - stage.top + value.height / 2], way: [0, -1] };
}

export function draw_stage(view, drawing, overlay, value_place, stage_place) {
  overlay.replaceChildren();
  stage_place.classList.remove("beside");
  const stage = stage_place.getBoundingClientRect(), value_box = value_place.getBoundingClientRect();
  const step = ["step", "capture", "hold", "hard_hold", "resumed"].includes(view.state) && view.step?.kind !== "setting" ? view.step : null;
  const last = !view.trace && view.last && ["counted", "answer", "setting", "held", "tell_again"].includes(view.last.what) ? view.last : null;
  const now_edge = drawing.edge(step?.edge), past_edge = last?.what !== "held" ? drawing.edge(last?.edge) : null;
  drawing.strengthen(now_edge, past_edge);
  const size = Math.max(.45, Math.min(1, stage.width / 1400));
  overlay.style.setProperty("--u", size);
  const most = Math.min(stage.height * .36, stage.width * .16, 230);
  const measured = step && step.unit && (step.lower != null || step.upper != null);
  const together = same_place(step, last) || (view.hold && last?.what === "held");
  const apart = last && !together && last.value != null && (last.lower != null || last.upper != null);
  const rulers = [];
  // A ruler on the drawing keeps clear of the value, which stands at its side or below it.
  const value_left = value_box.left - stage.left, aside = value_box.width && value_left > stage.width * .3;
  const free = { width: aside ? value_left : stage.width, height: value_box.width && !aside ? value_box.top - stage.top : stage.height };
  let end = null;
  if (measured) {
    // Beside a value there is room for one ruler: the value's own.
    const place = now_edge ? anchor(now_edge, step, overlay, .42) : apart && !past_edge ? null : beside(stage_place, value_place);
    if (place) {
      const mark = view.trace ? so_far(view.trace, step) : together ? (last.what === "held" ? held_mark(view) : last) : null;
      const made = draw_ruler(overlay, place, room(place, now_edge ? free : stage, most), now_edge ? step : { ...step, material: null }, { last: mark, earlier: view.earlier ?? [], hold: view.hold, size });
      if (made) rulers.push(made);
      if (together || mark) end = made?.end;
    }
  } else if (now_edge && step) {
    ring(overlay, now_edge);
  }
  if (apart) {
    // A setting has no edge; its ruler stands beside the value.
    const place = past_edge ? anchor(past_edge, last, overlay, past_edge === now_edge ? .8 : .66) : beside(stage_place, value_place);
    const made = past_edge && place ? draw_ruler(overlay, place, room(place, free, most * .62), last, { last, past: true, numbers: false, side: 1, size })
      : place ? draw_ruler(overlay, place, room(place, stage, most), { ...last, material: null }, { last, size }) : null;
    if (made) rulers.push(made);
    end = made?.end;
  }
  place_labels(overlay, rulers, value_box.width ? [filled_by(value_place, stage)] : [], stage.width, stage.height);
  if (end && value_box.width && !stage_place.classList.contains("beside")) leader(overlay, end, value_box, stage);
}

/// Where the value's text stands; beside it there may be room for a ruler.
function filled_by(value_place, stage) {
  const box = value_place.getBoundingClientRect(), free = parseFloat(getComputedStyle(value_place).paddingLeft);
  return { x: box.left - stage.left + free, y: box.top - stage.top, width: box.width - free, height: box.height };
}

/// What a capture that runs would come to: a neutral mark, since it is not judged yet.
function so_far(trace, step) {
  return trace.value != null && !trace.waits && trace.unit === step.unit ? { value: trace.value, verdict: "" } : null;
}

function held_mark(view) {
  const hold = view.hold;
  return hold?.value != null && hold.kind !== "wrong_gauge" ? { value: hold.value, verdict: "" } : null;
}

/// A ring round the edge of a look, a plug or a check: here.
function ring(overlay, edge) {
  const box = edge.getBoundingClientRect(), stage = overlay.getBoundingClientRect();
  const pad = 22 * Math.min(1, stage.width / 1400 + .3);
  overlay.append(draw("rect", { class: "ring-now", x: box.left - stage.left - pad, y: box.top - stage.top - pad, width: box.width + 2 * pad, height: box.height + 2 * pad, rx: pad }));
}

function leader(overlay, end, value_box, stage) {
  const to = [value_box.left - stage.left - 12, value_box.top - stage.top + Math.min(value_box.height * .3, 110)];
  const from = Math.hypot(end.at[0] - to[0], end.at[1] - to[1]) < Math.hypot(end.other[0] - to[0], end.other[1] - to[1]) ? end.at : end.other;
  if (to[0] < from[0] + 20) return;
  const middle = from[0] + (to[0] - from[0]) * .6;
  overlay.append(draw("path", { class: `leader ${end.tone}`, d: `M${from[0]} ${from[1]}L${middle} ${from[1]}L${to[0]} ${to[1]}` }));
}
