// One part's or one walk's full history on one page: every reading, retake and hold in order, every fact with what overruled
// it, the edition as it was at the walk's start.
import { clock_time, day_time, shown, t, unit, word } from "./words.js";
import { working_of_fact, judged_by } from "./working.js";
import { ask } from "./page.js";
import { bench_name } from "./shop.js";
import { make } from "./dom.js";

const now = Date.now();
const when = (utc) => make("time", { datetime: utc, title: utc }, `${day_time(utc, now)}:${clock_time(utc).slice(6)}`);
const bytes = (hex) => (hex.match(/../g) ?? []).join(" ");
const value = (number, name) => (number ? `${shown(number)} ${unit(name)}` : "");
const mark = (name) => make("span", { class: `verdict-${name}` }, word("records.verdict", name));
const anchor = (key) => `fact-${key.slice(key.indexOf("-") + 1).replace("/", "-")}`;
const short = (key) => key.slice(key.indexOf("-") + 1);

/// What an event was, in words: of a reading what became of it, else what was done.
function said(line) {
  const what = line.kind === "reading" || line.kind === "capture_ended" || line.kind === "type_value" ? word("event.what", line.what) : word("event", line.kind);
  const more = line.kind === "act" ? [word("act", line.note), line.what && line.what !== "counted" ? word("event.what", line.what) : ""] : [];
  return [what, ...more].filter(Boolean).join(": ");
}

function line_row(line, with_part, told) {
  const cells = {
    time: when(line.utc),
    ...(with_part ? { part: line.serial ? t("head.part", { serial: line.serial }) : "" } : {}),
    event: make("span", {}, make("b", {}, said(line)), line.hold ? ` ${t("history.hold", { hold: word("event.hold", line.hold) })}` : "", line.fits_size ? ` ${t("history.fits", { size: line.fits_size })}` : "",
      line.why && line.why !== line.hold && line.why !== line.reason ? make("span", { class: "soft" }, ` ${word(line.capture?.head.broken ? "served" : "event.why", line.why)}`) : "",
      line.capture ? make("span", { class: "soft" }, ` ${t("history.capture", { kind: word("trace.kind", line.capture.head.kind), samples: line.capture.head.samples, least: shown(line.capture.head.least), greatest: shown(line.capture.head.greatest), unit: unit(line.capture.head.unit) })} `, make("a", { href: `/api/v1/captures/${line.capture.sha256}`, download: `capture-${short(line.key)}.csv` }, t("history.samples"))) : ""),
    feature: [line.balloon, line.name || line.feature, line.place].filter(Boolean).join(" "),
    value: make("span", {}, value(line.value, line.unit), line.sent_value && (line.sent_value.replace(/^\+/, "") !== line.value || line.sent_unit !== line.unit) ? make("span", { class: "soft" }, ` ${t("detail.sent", { value: shown(line.sent_value), unit: unit(line.sent_unit) })}`) : ""),
    verdict: make("span", {}, line.verdict ? mark(line.verdict) : "", line.by && line.verdict === "reject" ? ` ${line.side === "upper" ? "+" : "\u2212"}${shown(line.by)}` : "",
      ...[line.stands ? "history.stands" : "", line.measured_again ? "detail.measured_again" : "", line.typed ? "detail.typed" : "", line.confirmed ? "detail.confirmed" : ""].filter(Boolean).map((key) => ` \u00b7 ${t(key)}`)),
    gauge: make("span", {}, line.gauge, line.raw_hex ? make("code", { class: "soft" }, ` ${bytes(line.raw_hex)}`) : ""),
    person: [line.person, line.reason, line.kind === "note" ? line.note : ""].filter(Boolean).join(" \u00b7 "),
    facts: make("span", {}, ...line.facts.filter((key) => told.has(key)).flatMap((key) => [make("a", { href: `#${anchor(key)}` }, short(key)), " "])),
  };
  return make("tr", { "data-key": line.key, "data-what": line.what }, ...Object.entries(cells).map(([name, content]) => make("td", { "data-name": t(`history.${name}`) }, content)));
}

function fact_row(fact) {
  const cells = {
    fact: make("span", {}, short(fact.key)), kind: word("fact", fact.kind),
    part: fact.serial ? t("head.part", { serial: fact.serial }) : "",
    feature: [fact.balloon, fact.feature_name || fact.feature].filter(Boolean).join(" "),
    value: make("span", {}, value(fact.value, fact.unit), fact.lower || fact.upper ? make("span", { class: "soft" }, ` ${shown(fact.lower)} \u2026 ${shown(fact.upper)}`) : "", working_of_fact(fact)),
    verdict: make("span", {}, fact.verdict ? mark(fact.verdict) : "", fact.mark ? make("span", { class: `mark-${fact.mark}` }, t(`records.mark.${fact.mark}`)) : "", fact.by ? ` ${fact.side === "upper" ? "+" : "\u2212"}${shown(fact.by)}` : ""),
    stands: make("span", {}, fact.overrules ? make("a", { href: `#${anchor(fact.overrules)}` }, t(fact.kind === "mark" ? "history.marks" : "history.overrules", { fact: short(fact.overrules) })) : "", " ",
      ...fact.marked_by.flatMap((key) => [make("a", { href: `#${anchor(key)}` }, t("history.marked_by", { fact: short(key) })), " "]),
      fact.overruled_by ? make("a", { href: `#${anchor(fact.overruled_by)}` }, t("history.overruled_by", { fact: short(fact.overruled_by) })) : t("history.in_force")),
    reason: [judged_by(fact), fact.reason, fact.note, fact.gauge, fact.master].filter(Boolean).join(" \u00b7 "),
  };
  return make("tr", { id: anchor(fact.key), class: fact.overruled_by ? "was" : null }, ...Object.entries(cells).map(([name, content]) => make("td", { "data-name": t(`history.${name}`) }, content)));
}

const table = (names, rows) => make("table", {}, make("thead", {}, make("tr", {}, ...names.map((name) => make("th", { scope: "col" }, t(`history.${name}`))))), make("tbody", {}, ...rows));

function edition_part({ sha, edition }) {
  if (!edition) return make("p", {}, sha);
  const names = ["balloon", "feature", "nominal", "limits", "gauge_kind", "places", "method"];
  const row = (feature) => {
    const cells = [feature.balloon, feature.name, value(feature.nominal, feature.unit), feature.lower || feature.upper ? `${shown(feature.lower)} \u2026 ${shown(feature.upper)} ${unit(feature.unit)}` : word("kind", feature.kind),
      feature.gauge_kind ? word("kind", feature.gauge_kind) : feature.tool, (feature.places ?? []).join(", "), feature.method || feature.question_good];
    return make("tr", {}, ...cells.map((cell, index) => make("td", { "data-name": t(`history.${names[index]}`) }, cell)));
  };
  return make("details", { open: true }, make("summary", {}, t("history.edition", { size: edition.size, print: edition.print_revision, number: edition.number }), make("code", { class: "soft" }, ` ${sha.slice(0, 16)}`)), table(names, edition.features.map(row)));
}

export async function show_history(place, title, kind, key) {
  const history = await ask(`/api/v1/records/${kind}/${encodeURIComponent(key)}`, undefined, "record");
  const name = [history.size, history.lot_name ? t("head.lot", { lot: history.lot_name }) : "", history.serial ? t("head.part", { serial: history.serial }) : ""].filter(Boolean).join(" \u00b7 ");
  title.textContent = name || t("history.title");
  document.title = name || t("history.title");
  const with_part = kind === "walks";
  const told = new Set(history.facts.map((fact) => fact.key));   // of an event about many parts only what is told here
  const filter = new URLSearchParams(with_part ? { walk: key } : { lot: history.lot, serial: history.serial });
  const benches = [...new Set(history.lines.map((line) => line.bench).filter(Boolean))].map(bench_name);
  place.append(
    make("p", { class: "soft" }, t("history.lead", { events: history.lines.length, facts: history.facts.length, walks: history.walks.length, benches: benches.join(", ") })),
    make("div", { class: "row" }, make("a", { class: "button", href: `/records?view=facts&${filter}` }, t("history.as_facts")),
      ...["csv", "jsonl"].map((form) => make("a", { class: "button", href: `/api/v1/export.${form}?${filter}`, download: `facts.${form}` }, t(`records.${form}`)))),
    make("h2", {}, t("history.events")), table(["time", ...(with_part ? ["part"] : []), "event", "feature", "value", "verdict", "gauge", "person", "facts"], history.lines.map((line) => line_row(line, with_part, told))),
    make("h2", {}, t("records.facts")), table(["fact", "kind", "part", "feature", "value", "verdict", "stands", "reason"], history.facts.map(fact_row)),
    make("h2", {}, t("history.editions")), ...history.editions.map(edition_part));
}
