// What is read aloud to who does not look: one region of the page, one text for all that came at the same time.
import { find } from "./dom.js";

let waiting = [];

/// Says it once what else came has come: first the value and its verdict, then what to do, then the rest.
export function tell_ear(text, rank = 2) {
  if (!text) return;
  if (!waiting.length) setTimeout(say, 30);
  waiting.push([rank, text]);
}

function say() {
  const text = waiting.sort(([a], [b]) => a - b).map(([, each]) => /[.!?]$/.test(each) ? each : `${each}.`).join(" ");
  waiting = [];
  const place = find("page-heard");
  // The same words again are news again: a space more makes them so.
  place.textContent = place.textContent === text ? `${text}\u00a0` : text;
}
