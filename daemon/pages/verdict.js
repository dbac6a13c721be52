// What came last, as a shape, a value, a word and an amount: from the view's `last` to what is shown beside the drawing.
import { t, has, word, padded, shown, unit, capital } from "./words.js";
import { judged_by } from "./working.js";

const answers = { good: "detail.answer_good", not_good: "detail.answer_not_good" };

/// At least the print's digits, and those that the gauge sent in the print's unit.
function digits(last) {
  const sent = last.sent?.value != null && last.sent.unit === last.unit && last.what !== "setting" ? last.sent.value.split(".")[1]?.length ?? 0 : 0;
  return Math.max(last.decimals ?? 0, sent);
}

/// By how much, on which side, and whether there is material left to cut; exact, as the daemon said it.
function amount(last) {
  if (last.by == null || !last.side) return "";
  const by = `${padded(last.by, digits(last))} ${unit(last.unit)}`;
  if (last.verdict !== "reject") {
    if (/^-?0(\.0*)?$/.test(last.by)) return t(`detail.at_${last.side}`);
    return t(`detail.inside_${last.side}`, { by });
  }
  const side = t(last.side === "upper" ? "detail.above" : "detail.below", { by });
  if (last.material !== "outside" && last.material !== "inside") return side;
  return `${side} \u00b7 ${t(last.material_left ? "detail.material_left" : "detail.no_material_left")}`;
}

function limits(last) {
  const values = { lower: padded(last.lower, last.decimals), upper: padded(last.upper, last.decimals), unit: unit(last.unit) };
  if (last.lower != null && last.upper != null) return t("detail.limits", values);
  if (last.upper != null) return t("detail.at_most", values);
  return last.lower != null ? t("detail.at_least", values) : "";
}

function judged(last) {
  const verdict = last.verdict || "";
  const out = { shape: verdict || "neutral", word: t(`verdict.${verdict || "place"}`), detail: amount(last), more: [] };
  if (last.stands && verdict === "reject") out.word = t("verdict.stands");
  if (!verdict) out.detail = last.derived?.length ? "" : t(last.limits_of === null ? "detail.for_derived" : "detail.joint");
  out.derived = last.derived?.length > 0;
  if (answers[last.value]) {
    out.number = null;
    out.detail = t(answers[last.value]);
  } else {
    out.more.push(limits(last), judged_by(last));
  }
  for (const mark of ["measured_again", "typed", "confirmed"]) if (last[mark]) out.more.push(t(`detail.${mark}`));
  return out;
}

function setting(last) {
  const bad = last.verdict === "reject";
  const failed = bad && (last.stands || last.why === "as_left");
  return { shape: last.verdict || "neutral", word: t(failed ? "verdict.setting_failed" : bad ? "verdict.setting_bad" : "verdict.setting_good"), detail: amount(last),
           more: [t("detail.of_master", { nominal: shown(last.nominal), lower: shown(last.lower), upper: shown(last.upper) }),
                  last.gain ? t(bad && !(Number(last.by) > 0) ? "detail.gain_outside" : "detail.gain", { gain: shown(last.gain) }) : ""] };
}

/// A capture that runs: its value so far, never a verdict.
function capturing({ trace, step, walk }) {
  const of = [walk?.serial ? t("head.part", { serial: walk.serial }) : "", step?.name ?? ""].filter(Boolean).join(" \u00b7 ");
  const out = { shape: "waiting", number: null, unit: unit(trace.unit), detail: limits(step ?? {}), more: [], of: capital(of), key: "trace", trace };
  if (trace.waits || trace.value == null) return { ...out, word: t(trace.waits ? "trace.waits" : "trace.begins"), detail: trace.last == null ? "" : `${shown(trace.last)} ${unit(trace.unit)}` };
  out.number = padded(trace.value, step?.decimals ?? 0);
  out.detail = [t(`trace.${trace.value_of}`), out.detail].filter(Boolean);
  out.more = [t("trace.more", { least: shown(trace.least), greatest: shown(trace.greatest), unit: unit(trace.unit), samples: trace.samples })];
  return out;
}

/// {shape, number, unit, word, detail, more: [], of, key}; `shape`: accept, reject, undecided, neutral, waiting.
export function last_shown(view) {
  const last = view.last;
  if (view.trace) return capturing(view);
  if (view.state === "idle" && !last) return null;
  if (!last) return { shape: "waiting", word: "", number: null, detail: "", more: [], of: "" };
  const of = [last.serial ? t("head.part", { serial: last.serial }) : "", last.name ? (last.place ? t("do.place", last) : last.name) : last.gauge_name].filter(Boolean).join(" \u00b7 ");
  let out;
  if (last.what === "setting") {
    out = setting(last);
  } else if (["counted", "answer", "tell_again"].includes(last.what)) {
    out = judged(last);
  } else {
    const values = { balloon: last.balloon, serial: last.serial };
    const code = last.what === "held" ? "hold" : last.what;
    out = { shape: ["go_on", "part_begun", "forgotten"].includes(last.what) ? "waiting" : "neutral", word: word("verdict", code, values), detail: "", more: [] };
    if (last.what === "not_counted") out.detail = has(`detail.not_counted.${last.why}`) ? t(`detail.not_counted.${last.why}`) : word("served", last.why);
    else if (last.what !== "held" && has(`detail.${last.what}`)) out.detail = t(`detail.${last.what}`);
    if (last.what === "passed_over" || last.what === "retake" || last.what === "set_aside") out.detail = last.why ?? "";
    if (last.what === "held" && view.hold) out.detail = held_detail(view.hold);
  }
  if (out.number === undefined) out.number = last.value && !answers[last.value] ? padded(last.value, digits(last)) : null;
  out.unit = unit(last.unit);
  if (last.sent && last.sent.value != null && (last.sent.unit !== last.unit || last.what === "setting" && last.sent.value !== last.value))
    out.more.push(t("detail.sent", { value: shown(last.sent.value), unit: unit(last.sent.unit) }));
  if (last.gauge_name && last.name) out.more.push(last.gauge_name);
  out.more = [out.more.filter(Boolean).join(" \u00b7 ")].filter(Boolean);
  out.of = capital(of);
  out.key = `${last.key}/${last.what}`;
  return out;
}

function held_detail(hold) {
  const parts = [];
  if (hold.lower != null || hold.upper != null) parts.push(limits({ lower: hold.lower, upper: hold.upper, unit: hold.unit }));
  if (hold.fits_size) parts.push(t("detail.fits", { size: hold.fits_size, lower: shown(hold.fits_lower), upper: shown(hold.fits_upper), unit: unit(hold.unit) }));
  return parts;
}
