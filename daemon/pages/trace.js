// The trace of a capture that runs: its samples as a line, and two hard edges that are as far apart as the tolerance, so
// that what fits between them accepts. Numbers here place a line and nothing else: values come from the daemon.
import { draw } from "./dom.js";

const width = 400, height = 120, pad = 6;

/// Milliseconds that the picture spans: what it ends after, else doubling, so that it does not creep.
function span_of(trace, length) {
  if (trace.end_after_ms) return trace.end_after_ms;
  let span = 4000;
  while (span < length) span *= 2;
  return span;
}

/// Lowest and highest value of the picture, and the edges' places.
function range_of(trace, step) {
  const number = (text) => text == null ? null : Number(text);
  const least = number(trace.least), greatest = number(trace.greatest);
  let lower = number(step?.lower), upper = number(step?.upper);
  if (trace.value_of === "span") {  // a span has no place of its own: its tolerance stands round what came
    const middle = (least + greatest) / 2;
    [lower, upper] = upper == null ? [null, null] : [middle - upper / 2, middle + upper / 2];
  }
  const ends = [least, greatest, lower, upper].filter((each) => each != null);
  const low = Math.min(...ends), high = Math.max(...ends), room = (high - low || 1e-6) * .08;
  return { low: low - room, high: high + room, edges: [lower, upper].filter((each) => each != null), extremes: [least, greatest] };
}

export function trace_picture(trace, step) {
  const picture = draw("svg", { class: "trace", viewBox: `0 0 ${width} ${height}`, preserveAspectRatio: "none", "aria-hidden": "true" });
  if (!trace.points.length) return picture;
  const { low, high, edges, extremes } = range_of(trace, step);
  const from = trace.points[0][0], length = trace.points.at(-1)[0] - from, span = span_of(trace, length);
  const start = Math.max(from, from + length - span);  // while it waits only the newest part is shown
  const x = (ms) => (pad + (ms - start) / span * (width - 2 * pad)).toFixed(1);
  const y = (value) => (height - pad - (value - low) / (high - low) * (height - 2 * pad)).toFixed(1);
  const across = (value, name) => draw("line", { class: name, x1: 0, y1: y(value), x2: width, y2: y(value) });
  for (const value of extremes) picture.append(across(value, "extreme"));
  for (const value of edges) picture.append(across(value, "limit"));
  const points = trace.points.filter(([ms]) => ms >= start).map(([ms, value]) => `${x(ms)} ${y(Number(value))}`);
  picture.append(draw("polyline", { class: "line", points: points.join(",") }));
  return picture;
}
