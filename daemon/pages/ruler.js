// The ruler: the tolerance far enlarged, across the edge that is measured; the way of the ruler is the way of more
// material. Two hard edges are the limits, the drawing's edge their middle. Numbers here place marks and nothing else:
// the verdict, the amount and the digits come from the daemon.
import { draw } from "./dom.js";
import { padded } from "./words.js";

const ways = { up: [0, -1], down: [0, 1], left: [-1, 0], right: [1, 0] };

/// How a value maps to -1 .. 1 (the limits stand at -0.5 and 0.5, the ends of the ruler at -1 and 1), outward being more
/// material. A side without a limit ends soft.
export function scale_of(feature) {
  const number = (text) => text == null || text === "" ? null : Number(text);
  let lower = number(feature.lower), upper = number(feature.upper);
  let soft = null;
  if (lower == null && upper == null) return null;
  if (lower == null) {
    soft = "lower";
    lower = upper > 0 ? 0 : upper - Math.max(Math.abs(upper), 1) * .1;
  } else if (upper == null) {
    soft = "upper";
    const room = number(feature.nominal) != null && feature.nominal !== feature.lower ? 2 * (number(feature.nominal) - lower) : 0;
    upper = lower + Math.max(room, Math.abs(lower) * .1, 1e-6);
  }
  const half = (upper - lower) || 1e-6;
  // Of a bore and the like a smaller value is more material.
  const sense = feature.material === "inside" ? -1 : 1;
  return { soft, lower, upper, sense, at: (text) => sense * (Number(text) - (lower + upper) / 2) / half };
}

/// Where the mark goes: beyond the end it stays visible at the end (out: -1 or 1); and a reject is never drawn on or
/// within its limit, however near it is, nor an accept outside it.
export function mark_position(scale, last, pixel) {
  let at = scale.at(last.value);
  const limit = last.side === "upper" ? .5 * scale.sense : -.5 * scale.sense;
  const outward = Math.sign(limit);
  if (last.verdict === "reject" && last.side && (at - limit) * outward < 9 * pixel) at = limit + outward * 9 * pixel;
  if (last.verdict === "accept" && last.side && (at - limit) * outward > 0) at = limit;
  const out = at > .97 ? 1 : at < -.97 ? -1 : 0;
  return { at: out ? out * .97 : at, out };
}

/// The place on the edge and the way of the ruler, in the overlay's pixels.
export function anchor(edge, feature, overlay, share) {
  const box = overlay.getBoundingClientRect(), screen = edge.getScreenCTM();
  if (!screen) return null;
  const on_page = (x, y) => [x * screen.a + y * screen.c + screen.e - box.left, x * screen.b + y * screen.d + screen.f - box.top];
  if (feature.ruler === "radial" && edge.hasAttribute("r")) {
    const [x, y] = on_page(Number(edge.getAttribute("cx")), Number(edge.getAttribute("cy")));
    const radius = Number(edge.getAttribute("r")) * Math.hypot(screen.a, screen.b);
    // Away from the middle of the view it lies in, so that the ruler leads out of the crowd.
    const view = edge.parentNode.querySelector("circle.metal, circle.line") ?? edge;
    const [vx, vy] = on_page(Number(view.getAttribute("cx")), Number(view.getAttribute("cy")));
    let way = [x - vx, y - vy];
    const length = Math.hypot(...way);
    way = length > 1 ? way.map((part) => part / length) : [Math.SQRT1_2, -Math.SQRT1_2];
    const point = [x + way[0] * radius, y + way[1] * radius];
    // More material lies outside of a hole's edge, in a part's edge inside: the way of a hole's ruler is its radius turned.
    return { point, way: feature.material === "inside" ? way.map((part) => -part) : way };
  }
  const long = edge.getTotalLength?.() ?? 0;
  const { x, y } = edge.getPointAtLength(long * share);
  return { point: on_page(x, y), way: ways[feature.ruler] ?? ways.up };
}

/// Draws one ruler into `overlay`. `place`: {point, way}; `half`: pixels from its middle to its end.
export function draw_ruler(overlay, place, half, feature, { last, earlier = [], past = false, hold = null, numbers = true, side = -1, size = 1 }) {
  const scale = scale_of(feature);
  if (!scale) return null;
  const [wx, wy] = place.way;
  let [nx, ny] = [-wy, wx];  // across the ruler
  if (nx * side < 0 || (Math.abs(nx) < 1e-6 && ny < 0)) [nx, ny] = [-nx, -ny];
  const point = (at, across = 0) => [place.point[0] + wx * at * half + nx * across, place.point[1] + wy * at * half + ny * across];
  const line = (at, from, to, name) => {
    const [x1, y1] = point(at, from), [x2, y2] = point(at, to);
    return draw("line", { class: name, x1, y1, x2, y2 });
  };
  const group = draw("g", { class: past ? "ruler past" : "ruler" });
  const [ax, ay] = point(-1.06), [bx, by] = point(1.06);
  group.append(draw("line", { class: "axis", x1: ax, y1: ay, x2: bx, y2: by }));
  const broad = (past ? 22 : 38) * size;
  const upper_at = .5 * scale.sense;
  group.append(line(-upper_at, -broad, broad, scale.soft === "lower" ? "limit soft-end" : "limit"));
  group.append(line(upper_at, -broad, broad, scale.soft === "upper" ? "limit soft-end" : "limit"));
  earlier.forEach(({ value }, index) => {
    const at = Math.max(-.97, Math.min(.97, scale.at(value)));
    const tick = line(at, -26 * size, -8 * size, "earlier");
    tick.setAttribute("opacity", (.18 + .5 * (index + 1) / earlier.length).toFixed(2));
    group.append(tick);
  });
  // Where a limit's number may stand: beside it, on either side; further out along the ruler; clear of the mark.
  const beside = Math.abs(nx) > .5;
  const places = (at) => [[1, 0], [-1, 0], [1, .16], [-1, .16], [1, .32], [-1, .32]].flatMap(([way, out]) => [14, 40].map((gap) => {
    const [x, y] = point(at + Math.sign(at) * out, way * (broad + gap * size));
    const dx = nx * way, dy = ny * way;
    return { x, y: beside ? y : dy < 0 ? y - 12 : y + 12, "text-anchor": beside ? (dx < 0 ? "end" : "start") : "middle" };
  }));
  const labels = [];
  if (numbers && scale.soft !== "lower") labels.push({ text: padded(feature.lower, feature.decimals), places: places(-upper_at) });
  if (numbers && scale.soft !== "upper") labels.push({ text: padded(feature.upper, feature.decimals), places: places(upper_at) });
  if (hold?.fits_lower != null && hold.fits_size) {
    const low = scale.at(hold.fits_lower), high = scale.at(hold.fits_upper);
    if (Math.abs(low) <= 1 && Math.abs(high) <= 1) for (const at of [low, high]) group.append(line(at, -broad, broad, "other"));
  }
  const made = { group, labels };
  if (last?.value != null && Number.isFinite(Number(last.value))) {
    const { at, out } = mark_position(scale, last, size / half);
    const tone = last.verdict === "accept" ? "accept" : last.verdict === "reject" ? "reject" : "neutral";
    group.append(line(at, -broad - 20 * size, broad + 20 * size, `mark ${tone}`));
    if (out) {  // beyond the ruler: an arrow says so
      const [x, y] = point(out * 1.0), tip = point(out * 1.16);
      group.append(draw("path", { class: tone, d: `M${x - nx * 17 * size} ${y - ny * 17 * size}L${x + nx * 17 * size} ${y + ny * 17 * size}L${tip[0]} ${tip[1]}Z` }));
    }
    made.end = { at: point(at, broad + 26 * size), other: point(at, -broad - 26 * size), tone };
  }
  overlay.append(group);
  return made;
}

/// The numbers of all rulers, each at the first of its places that is free of rulers, other numbers and `taken`. One that
/// finds none is left out: the limits stand in the sentence too.
export function place_labels(overlay, rulers, taken, width, height) {
  const filled = [...taken];
  for (const { group } of rulers) for (const element of group.children) filled.push(...boxes_of(element).map((box) => grown(box, 3)));
  for (const { group, labels } of rulers) {
    for (const { text, places } of labels) {
      const label = draw("text", { "dominant-baseline": "central" }, text);
      group.append(label);
      const free = places.some((place) => {
        for (const [name, value] of Object.entries(place)) label.setAttribute(name, value);
        const box = label.getBBox();
        return box.x >= 0 && box.y >= 0 && box.x + box.width <= width && box.y + box.height <= height && !filled.some((other) => meet(box, other));
      });
      if (free) filled.push(label.getBBox());
      else label.remove();
    }
  }
}

/// A slanted line fills little of the box round it: it is taken in pieces.
function boxes_of(element) {
  const box = element.getBBox(), pieces = element.nodeName === "line" ? Math.ceil(Math.min(box.width, box.height) / 10) : 0;
  if (pieces < 2) return [box];
  const [x1, y1, x2, y2] = ["x1", "y1", "x2", "y2"].map((name) => Number(element.getAttribute(name)));
  return Array.from({ length: pieces }, (_, at) => {
    const from = at / pieces, to = (at + 1) / pieces, xs = [x1 + (x2 - x1) * from, x1 + (x2 - x1) * to], ys = [y1 + (y2 - y1) * from, y1 + (y2 - y1) * to];
    return { x: Math.min(...xs), y: Math.min(...ys), width: Math.abs(xs[1] - xs[0]), height: Math.abs(ys[1] - ys[0]) };
  });
}

const grown = (box, by) => ({ x: box.x - by, y: box.y - by, width: box.width + 2 * by, height: box.height + 2 * by });
const meet = (a, b) => a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;
