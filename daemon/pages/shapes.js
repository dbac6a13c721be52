// The shapes that stand for verdicts, told apart without colour: filled disc, hollow square with a bar, half-filled
// diamond, dashed ring (nothing yet).
import { draw } from "./dom.js";

export function shape(name) {
  const parts = {
    accept: [draw("circle", { class: "fill-accept", cx: 50, cy: 50, r: 40 })],
    reject: [draw("path", { class: "line-reject", d: "M14 14H86V86H14ZM14 50H86" })],
    waiting: [draw("circle", { class: "line-waiting", cx: 50, cy: 50, r: 36 })],
    neutral: [draw("path", { class: "line-neutral", d: "M50 8L92 50L50 92L8 50Z" }), draw("path", { class: "fill-neutral", d: "M50 8L92 50L50 92Z" })],
  };
  return draw("svg", { class: "shape", viewBox: "0 0 100 100", "aria-hidden": "true" }, ...(parts[name] ?? parts.neutral));
}
