// A size tried with typed values: the real rules, over one part, kept nowhere.
import { plain, shown, t, unit, word } from "./words.js";
import { ask } from "./page.js";
import { bench_name, load_shop } from "./shop.js";
import { make } from "./dom.js";

const stages = ["final", "setup", "first part", "in process", "last part", "after finish"];
const limits = (each) => (each.lower || each.upper ? `${shown(each.lower)} \u2026 ${shown(each.upper)} ${unit(each.unit)}` : "");

function field(feature, place) {
  const name = `${feature.key}/${place}`;
  const label = [feature.balloon, feature.name, place].filter(Boolean).join(" ");
  if (feature.unit) return make("label", {}, `${label} (${limits(feature)})`, make("input", { name, inputmode: "decimal", autocomplete: "off", placeholder: shown(feature.nominal) }));
  return make("label", {}, label, make("select", { name }, ...["good", "not_good"].map((each) => make("option", { value: each }, t(`detail.answer_${each}`)))));
}

function given_of(form, edition) {
  return edition.features.flatMap((feature) => (feature.places?.length ? feature.places : [""]).flatMap((place) => {
    const text = form.elements[`${feature.key}/${place}`]?.value.trim() ?? "";
    if (!text) return [];
    // Several readings of one step, one after the other.
    return [{ feature: feature.key, place, unit: feature.unit ?? "", values: feature.unit ? text.split(/[;\s]+/).map(plain) : [text] }];
  }));
}

function step_row(step, index) {
  const cells = {
    step: String(index + 1), feature: [step.balloon, step.name, step.place].filter(Boolean).join(" "), limits: limits(step), given: step.given === "good" || step.given === "not_good" ? t(`detail.answer_${step.given}`) : shown(step.given),
    outcome: make("span", {}, step.verdict ? make("span", { class: `verdict-${step.verdict}` }, word("records.verdict", step.verdict)) : word("event.what", step.what), step.by && step.verdict === "reject" ? ` ${step.side === "upper" ? "+" : "\u2212"}${shown(step.by)}` : "",
      step.hold ? ` ${t("history.hold", { hold: word("event.hold", step.hold) })}` : "", step.fits_size ? ` ${t("history.fits", { size: step.fits_size })}` : "", step.stands ? ` \u00b7 ${t("history.stands")}` : ""),
    result: step.result ? make("span", { class: `verdict-${step.result}` }, `${word("records.verdict", step.result)} ${shown(step.result_value)}`) : "", gauges: step.gauges.join(", "),
  };
  return make("tr", { "data-feature": step.feature, "data-what": step.what }, ...Object.entries(cells).map(([name, content]) => make("td", { "data-name": t(`dry.${name}`) }, content)));
}

export function offer_dry_run(place, name, edition, told) {
  const answer = make("div", { id: "page-answer", role: "status" });
  const form = make("form", { class: "dry", onsubmit: told(async () => {
    const run = await ask("/api/v1/checklists/dry-run", { edition: name, stage: form.elements.stage.value, bench: form.elements.bench.value, values: given_of(form, edition) }, "dry_run");
    answer.replaceChildren(make("p", {}, make("b", {}, t(`dry.end.${run.end}`)), " ", t("dry.kept_nowhere")),
      make("table", {}, make("thead", {}, make("tr", {}, ...["step", "feature", "limits", "given", "outcome", "result", "gauges"].map((each) => make("th", { scope: "col" }, t(`dry.${each}`))))), make("tbody", {}, ...run.steps.map(step_row))));
    answer.scrollIntoView();
  }) });
  load_shop().then((page) => {
    form.append(make("p", { class: "wide" }, make("b", {}, `${edition.size} ${edition.print_revision}`), " ", t("dry.several")),
      make("label", {}, t("form.stage"), make("select", { name: "stage" }, ...stages.map((each) => make("option", { value: each }, word("stage", each))))),
      make("label", {}, t("records.bench"), make("select", { name: "bench" }, ...(page.benches ?? []).map((each) => make("option", { value: each.id }, bench_name(each.id))))),
      ...edition.features.flatMap((feature) => (feature.places?.length ? feature.places : [""]).map((each) => field(feature, each))),
      make("p", { class: "wide" }, make("button", { class: "main-button" }, t("dry.run"))));
  });
  place.append(form, answer);
}
