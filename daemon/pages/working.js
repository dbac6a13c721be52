// Derived results: what came of a reading besides its own verdict, and how each number was made. The daemon worked them out.
import { make } from "./dom.js";
import { t, padded, shown, unit } from "./words.js";
import { shape } from "./shapes.js";
import { show_panel, close_panel } from "./panels.js";

/// Digits that a person reads: the print's and two more; the whole value stands in the working.
function short(one) {
  const [whole, rest = ""] = String(one.value).split(".");
  const most = (one.decimals ?? 0) + 2;
  if (rest.length <= most) return padded(one.value, one.decimals ?? 0);
  return `\u2248 ${shown(most ? Number(one.value).toFixed(most) : whole)}`;
}

const limits = (one) => one.lower != null && one.lower !== "" && one.upper != null && one.upper !== ""
  ? t("detail.limits", { lower: padded(one.lower, one.decimals), upper: padded(one.upper, one.decimals), unit: unit(one.unit) })
  : t(one.upper ? "detail.at_most" : "detail.at_least", { lower: padded(one.lower, one.decimals), upper: padded(one.upper, one.decimals), unit: unit(one.unit) });

/// One line a derived result: balloon, name, value, verdict.
export function derived_lines(last) {
  return (last?.derived ?? []).map((one) => make("div", { class: `derived ${one.verdict}`, "data-feature": one.feature },
    shape(one.verdict), make("span", {}, `${one.balloon} ${one.name} `), make("b", {}, one.value ? `${short(one)} ${unit(one.unit)}` : "\u2013"),
    make("span", {}, ` ${t(`verdict.${one.verdict}`)}${one.why ? `: ${one.why}` : ""}`)));
}

/// The same in words, to be heard.
export const derived_words = (last) => (last?.derived ?? []).map((one) => `${one.name} ${one.value ? `${short(one)} ${unit(one.unit)}` : ""} ${t(`verdict.${one.verdict}`)}`).join(". ");

const line = (name, value, of) => make("tr", {}, make("th", { scope: "row" }, name), make("td", {}, value === "" ? "" : `${shown(value)}`), make("td", {}, of && of !== "1" ? unit(of) : ""));

function one_working(one) {
  return make("section", { class: "working" },
    make("h3", {}, `${one.balloon} ${one.name}`),
    make("p", {}, t("working.by", { computation: one.computation.replaceAll("_", " ") }), one.why ? ` \u00b7 ${one.why}` : ""),
    make("table", {}, make("tbody", {}, ...(one.working ?? []).map((each) => line(each.name.replaceAll("_", " "), each.value, each.unit)),
      one.value ? line(t("working.result"), one.value, one.unit) : null)),
    make("p", {}, limits(one), " \u00b7 ", make("span", { class: `verdict-${one.verdict}` }, t(`verdict.${one.verdict}`))));
}

/// How the numbers were made, over the page.
export function show_working(last) {
  if (!last?.derived?.length) return;
  const panel = show_panel(t("working.title"), make("div", {}, ...last.derived.map(one_working),
    make("div", { class: "row" }, make("button", { type: "button", onclick: close_panel }, t("menu.close")))), "working");
  panel.scrollTop = 0;  // the button that has the focus stands at the end
}

/// Of a fact in the record: its working folded up; null where it has none.
export function working_of_fact(fact) {
  if (!fact.working) return null;
  const kept = JSON.parse(fact.working);
  const value_rows = (input) => (input.values ?? []).map((value, at) => line(input.of?.[at] ? `${input.name}: ${input.of[at]}` : `${input.name} (${t("working.given")})`, value, input.units?.[at]));
  const sweep_rows = (input) => (input.sweeps ?? []).map((sweep, at) => line(`${input.name}: ${input.of?.[at] ?? ""} (${t("working.samples", { count: sweep.samples ?? 0 })})`, sweep.span ?? "", "mm"));
  const word_row = (input) => (input.word ? [make("tr", {}, make("th", { scope: "row" }, input.name), make("td", { colspan: 2 }, input.word))] : []);
  return make("details", { class: "working" }, make("summary", {}, t("working.title")),
    make("p", {}, t("working.by", { computation: (kept.computation ?? "").replaceAll("_", " ") }), kept.formula ? make("code", {}, ` ${kept.formula}`) : "", kept.why ? ` \u00b7 ${kept.why}` : ""),
    make("table", {}, make("tbody", {}, ...(kept.inputs ?? []).flatMap((input) => [...value_rows(input), ...sweep_rows(input), ...word_row(input)]),
      ...(kept.steps ?? []).map((each) => line(each.name.replaceAll("_", " "), each.value, each.unit)),
      kept.unrounded ? line(t("working.unrounded"), kept.unrounded, "") : null)));
}

/// By what a verdict stands: only what is not the usual is said.
export function judged_by(one) {
  const parts = [];
  if (one.limits_of === "before_finish") parts.push(t("limits.before_finish"));
  if (one.judging && one.judging !== "absolute") parts.push(t(`limits.judging.${one.judging}`));
  if (one.decision === "stringent") parts.push(one.uncertainty ? t("limits.stringent", { uncertainty: shown(one.uncertainty) }) : t("limits.stringent_only"));
  return parts.join(" \u00b7 ");
}
