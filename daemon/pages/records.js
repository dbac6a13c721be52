// The record: walks, parts and facts from the newest back, by lot, part, time and verdict; and one part's or walk's full
// history. What is shown can be downloaded with the same filters, by the same grammar as every export.
import { clock_time, day_time, shown, t, unit, word } from "./words.js";
import { ask, say, start_page } from "./page.js";
import { bench_name } from "./shop.js";
import { find, make } from "./dom.js";
import { show_history } from "./history.js";
import { working_of_fact, judged_by } from "./working.js";

await start_page();
document.title = t("records.title");

const query = new URLSearchParams(location.search);
const views = ["walks", "parts", "facts"];
const view = views.includes(query.get("view")) ? query.get("view") : "walks";
const filters = ["lot", "serial", "walk", "feature", "verdict", "from", "to"];
const verdicts = ["accept", "reject", "undecided", "suspect", "cleared"];
let until = "", cursor = "", shown_count = 0;

/// The instant of a local time as the daemon wants it; a date alone is its midnight here.
const instant = (local) => (local ? new Date(local.length === 10 ? `${local}T00:00` : local).toISOString().replace(/\.\d+Z$/, "Z") : "");

/// The daemon's parameters of what the address asks for.
function wanted() {
  const out = new URLSearchParams();
  for (const name of filters) {
    const value = query.get(name)?.trim();
    if (value) out.set(name, name === "from" || name === "to" ? instant(value) : value);
  }
  for (const name of ["as_of_now", "suspect"]) if (query.get(name)) out.set(name, "true");
  return out;
}

function field(name, attributes = {}) {
  return make("label", {}, t(`records.${name}`), make("input", { name, value: query.get(name) ?? "", autocomplete: "off", ...attributes }));
}

function show_filter() {
  const choose = (name, each) => make("option", { value: each, selected: query.get(name) === each }, t(`records.verdict.${each}`));
  find("page-filter").append(
    make("label", {}, t("records.view"), make("select", { name: "view" }, ...views.map((each) => make("option", { value: each, selected: each === view }, t(`records.${each}`))))),
    field("lot"), field("serial", { inputmode: "numeric" }), field("feature"),
    make("label", {}, t("records.verdict"), make("select", { name: "verdict" }, make("option", { value: "" }, t("records.any")), ...verdicts.map((each) => choose("verdict", each)))),
    field("from", { type: "datetime-local" }), field("to", { type: "datetime-local" }),
    ...(query.get("walk") ? [make("input", { type: "hidden", name: "walk", value: query.get("walk") })] : []),
    make("label", { class: "tick" }, make("input", { type: "checkbox", name: "as_of_now", value: "1", checked: query.get("as_of_now") ? true : null }), t("records.as_of_now")),
    make("label", { class: "tick" }, make("input", { type: "checkbox", name: "suspect", value: "1", checked: query.get("suspect") ? true : null }), t("records.suspect")),
    make("button", { class: "main-button" }, t("records.show")), make("a", { class: "button", href: "/records" }, t("records.all")));
  find("page-filter").addEventListener("submit", (event) => {
    event.preventDefault();
    const next = new URLSearchParams([...new FormData(event.target)].filter(([, value]) => value));
    for (const kept of ["theme", "language"]) if (query.get(kept)) next.set(kept, query.get(kept));
    location.search = next;
  });
}

const now = Date.now();
const when = (utc) => (utc ? make("time", { datetime: utc, title: utc }, `${day_time(utc, now)}:${clock_time(utc).slice(6)}`) : "");
const here = (more) => {
  const next = new URLSearchParams(query);
  for (const [name, value] of Object.entries(more)) next.set(name, value);
  return `/records?${next}`;
};
const link = (more, text) => make("a", { href: here(more) }, text);
const verdict = (name) => make("span", { class: `verdict-${name}` }, word("records.verdict", name));
const number = (value) => ["number", String(value)];

// name of a column -> what a row has there
const columns = {
  walks: {
    begun: (row) => link({ view: "history", walk: row.walk }, when(row.begun_utc)),
    lot: (row) => link({ view: "walks", lot: row.lot }, row.lot_name), size: (row) => `${row.size} ${row.print_revision}`,
    stage: (row) => word("stage", row.stage), bench: (row) => bench_name(row.bench), person: (row) => row.person,
    serials: (row) => link({ view: "parts", walk: row.walk }, row.first === row.last ? `${row.first}` : `${row.first}\u2013${row.last}`),
    parts_measured: (row) => number(row.parts), results: (row) => number(row.results), rejects: (row) => number(row.rejects), suspects: (row) => number(row.suspects),
  },
  parts: {
    part: (row) => link({ view: "history", part: row.part }, t("head.part", { serial: row.serial })),
    lot: (row) => link({ view: "parts", lot: row.lot }, row.lot_name), size: (row) => row.size, stage: (row) => word("stage", row.stage),
    bench: (row) => bench_name(row.bench), person: (row) => row.person, measured: (row) => when(row.last_utc),
    results: (row) => number(row.results), rejects: (row) => number(row.rejects), suspects: (row) => number(row.suspects),
  },
  facts: {
    measured: (row) => when(row.measured_utc), lot: (row) => row.lot_name,
    part: (row) => (row.part ? link({ view: "history", part: row.part }, t("head.part", { serial: row.serial })) : ""),
    kind: (row) => word("fact", row.kind), feature: (row) => [row.balloon, row.feature_name || row.feature, row.place].filter(Boolean).join(" "),
    verdict: (row) => make("span", {}, row.verdict ? verdict(row.verdict) : "", row.mark ? make("span", { class: `mark-${row.mark}` }, t(`records.mark.${row.mark}`)) : "", row.by ? ` ${row.side === "upper" ? "+" : "\u2212"}${shown(row.by)}` : ""), value: (row) => ["number", make("span", {}, row.value ? `${shown(row.value)} ${unit(row.unit)}` : "", working_of_fact(row))],
    limits: (row) => ["number", row.lower || row.upper ? `${shown(row.lower)} \u2026 ${shown(row.upper)}` : ""],
    gauge: (row) => row.gauge, person: (row) => row.person,
    remark: (row) => [row.measured_again ? t("detail.measured_again") : "", row.typed ? t("detail.typed") : "", row.confirmed ? t("detail.confirmed") : "", judged_by(row), row.reason, row.note].filter(Boolean).join(", "),
  },
};

function row_of(row) {
  return make("tr", { "data-key": row.key ?? row.part ?? row.walk }, ...Object.entries(columns[view]).map(([name, cell]) => {
    const value = cell(row);
    const [kind, content] = Array.isArray(value) ? value : ["", value];
    return make("td", { class: kind || null, "data-name": t(`records.${name}`) }, content);
  }));
}

async function more() {
  const asked = wanted();
  asked.set("limit", "100");
  if (cursor) asked.set("before", cursor);
  if (until) asked.set("until", until);
  const page = await ask(`/api/v1/records/${view}?${asked}`);
  until = page.until;
  cursor = page.cursor;
  shown_count += page[view].length;
  find("page-rows").append(...page[view].map(row_of));
  find("page-count").textContent = t(page.more ? "records.count_more" : "records.count", { count: shown_count });
  find("page-more").hidden = !page.more;
  // What is downloaded ends where the list began: what came since is not in it.
  const download = wanted();
  download.set("until", until);
  for (const form of ["csv", "jsonl"]) find(`page-${form}`).href = `/api/v1/export.${form}?${download}`;
}

async function show_list() {
  find("page-list").append(
    make("div", { class: "row" }, make("p", { id: "page-count", role: "status" }),
      make("a", { id: "page-csv", class: "button", download: "facts.csv" }, t("records.csv")), make("a", { id: "page-jsonl", class: "button", download: "facts.jsonl" }, t("records.jsonl"))),
    make("p", { class: "soft" }, t(view === "facts" ? "records.download_facts" : "records.download_of", { what: t(`records.${view}`) })),
    make("table", {}, make("thead", {}, make("tr", {}, ...Object.keys(columns[view]).map((name) => make("th", { scope: "col" }, t(`records.${name}`))))), make("tbody", { id: "page-rows" })),
    make("p", {}, make("button", { id: "page-more", type: "button", onclick: () => more().catch((fault) => say(find("page-say"), fault.message, true)) }, t("records.more"))));
  await more();
}

try {
  if (query.get("view") === "history") {
    find("page-filter").hidden = true;
    await show_history(find("page-list"), find("page-title"), query.get("part") ? "parts" : "walks", query.get("part") ?? query.get("walk") ?? "");
  } else {
    show_filter();
    await show_list();
  }
} catch (fault) {
  say(find("page-say"), fault.message, true);
}
document.body.dataset.ready = "1";
