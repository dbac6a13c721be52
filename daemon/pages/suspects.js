// Results whose gauge failed on its master: by gauge and failure, then by part, with what became of the part and what clears
// them. What is chosen is decided by a person, with a reason of the shop's list. A released part wants a word to the customer.
import { day_time, shown, t, unit, word } from "./words.js";
import { ask, say, start_page } from "./page.js";
import { bench_name, load_lists, master_name, people } from "./shop.js";
import { fill, find, make } from "./dom.js";

await start_page();
const lists = await load_lists();
document.title = t("suspects.title");

const query = new URLSearchParams(location.search);
const kinds = ["use_as_is", "measure_again", "reject"];
const chosen = new Set();
let all = [], gauges = {}, now = Date.now();

const here = (names) => {
  const next = new URLSearchParams(query);
  for (const [name, value] of Object.entries(names)) value ? next.set(name, value) : next.delete(name);
  return next;
};
const wanted = () => all.filter((each) => (!query.get("gauge") || each.gauge === query.get("gauge")) && (!query.get("lot") || each.lot === query.get("lot")));
const picked = () => all.filter((each) => chosen.has(each.fact));
const gauge_name = (id) => gauges[id]?.name ?? id;
const limits = (each) => (each.lower && each.upper ? `${shown(each.lower)} \u2026 ${shown(each.upper)} ${unit(each.unit)}`
  : each.upper ? `\u2264 ${shown(each.upper)} ${unit(each.unit)}` : each.lower ? `\u2265 ${shown(each.lower)} ${unit(each.unit)}` : "");

function choice(name, values, text) {
  return make("label", {}, t(`suspects.${name}`), make("select", { name }, make("option", { value: "" }, t("records.any")),
    ...values.map((value) => make("option", { value, selected: query.get(name) === value ? true : null }, text(value)))));
}

/// What to choose from is what stands suspect, and what the address names.
function show_filter() {
  const of = (name) => [...new Set([...all.map((each) => each[name]), ...(query.get(name) ? [query.get(name)] : [])])];
  const lot_name = (key) => { const found = all.find((each) => each.lot === key); return found ? `${found.lot_name} \u00b7 ${found.size}` : key; };
  fill(find("page-filter"), choice("gauge", of("gauge"), gauge_name), choice("lot", of("lot"), lot_name), make("button", {}, t("records.show")),
    make("a", { class: "button", href: `/suspects?${here({ gauge: "", lot: "" })}` }, t("records.all")));
}

/// What became of the part: released first, since that changes what a decision needs.
function became(each) {
  const parts = [];
  if (each.released_utc) parts.push(make("span", { class: "gone" }, t(each.order ? "suspects.released_to" : "suspects.released", { time: day_time(each.released_utc, now), order: each.order })));
  if (each.being_measured) parts.push(t("suspects.being_measured"));
  else if (each.part_end) parts.push(word("suspects.end", each.part_end));
  if (each.disposition) parts.push(word("suspects.disposition", each.disposition.replaceAll(" ", "_")));
  if (each.lot_closed) parts.push(t("suspects.lot_closed"));
  return make("span", {}, ...parts.flatMap((part, index) => (index ? [" \u00b7 ", part] : [part])));
}

function clears(each) {
  if (each.decision) return t("suspects.waits", { person: each.decided_by, time: day_time(each.decided_utc, now) });
  return t(each.customer_note_needed ? "suspects.clears_released" : "suspects.clears");
}

function row(each) {
  const what = [each.balloon, each.feature_name || each.feature].filter(Boolean).join(" ");
  const box = make("input", { type: "checkbox", "data-pick": each.fact, checked: chosen.has(each.fact) ? true : null,
    "aria-label": t("suspects.pick", { lot: each.lot_name, serial: each.serial, feature: what }) });
  const cells = {
    part: make("a", { href: `/records?view=history&part=${encodeURIComponent(each.part)}` }, t("head.part", { serial: each.serial })),
    lot: `${each.lot_name} \u00b7 ${each.size}`, stage: word("stage", each.stage), feature: what,
    value: make("span", {}, `${shown(each.value)} ${unit(each.unit)} `, make("span", { class: `verdict-${each.verdict}` }, word("records.verdict", each.verdict))),
    limits: limits(each), bench: bench_name(each.bench), became: became(each), clears: clears(each),
  };
  return make("tr", { "data-fact": each.fact, class: chosen.has(each.fact) ? "chosen" : null }, make("td", { class: "pick" }, box),
    ...Object.entries(cells).map(([name, content]) => make("td", { "data-name": t(`suspects.${name}`) }, content)));
}

const columns = ["part", "lot", "stage", "feature", "value", "limits", "bench", "became", "clears"];

function failure(rows) {
  const [first] = rows;
  const master = gauges[first.gauge]?.card?.setting;
  const parts = new Set(rows.map((each) => `${each.lot}/${each.serial}`)).size;
  const box = make("input", { type: "checkbox", "data-all": first.failure, checked: rows.every((each) => chosen.has(each.fact)) ? true : null });
  return make("section", { "data-failure": first.failure },
    make("h2", {}, t("suspects.failure", { gauge: gauge_name(first.gauge), time: day_time(first.since_utc, now) })),
    make("p", { class: "soft" }, [t("suspects.of", { results: rows.length, parts }), master?.master ? t("suspects.master", { master: master_name(master.master, master.size) }) : "", bench_name(gauges[first.gauge]?.bench ?? first.bench)].filter(Boolean).join(" \u00b7 ")),
    make("label", { class: "tick" }, box, t("suspects.pick_all", { count: rows.length })),
    make("table", {}, make("thead", {}, make("tr", {}, make("td", {}), ...columns.map((name) => make("th", { scope: "col" }, t(`suspects.${name}`))))), make("tbody", {}, ...rows.map(row))));
}

function show_list() {
  const rows = wanted().toSorted((a, b) => b.since_utc.localeCompare(a.since_utc) || a.gauge.localeCompare(b.gauge) || a.lot.localeCompare(b.lot) || a.serial - b.serial || a.feature.localeCompare(b.feature));
  const by_failure = Map.groupBy ? Map.groupBy(rows, (each) => each.failure) : rows.reduce((map, each) => map.set(each.failure, [...(map.get(each.failure) ?? []), each]), new Map());
  const focus = document.activeElement?.dataset ?? {};
  find("page-count").textContent = rows.length ? t(rows.length === 1 ? "suspects.one" : "suspects", { count: rows.length }) : t(all.length ? "suspects.none_here" : "suspects.none");
  fill(find("page-list"), ...[...by_failure.values()].map(failure));
  // What is ticked is a property, and no part of the text that `fill` compares.
  for (const box of document.querySelectorAll("[data-pick]")) box.checked = chosen.has(box.dataset.pick);
  for (const [name, value] of [["pick", focus.pick], ["all", focus.all]]) if (value) document.querySelector(`[data-${name}="${CSS.escape(value)}"]`)?.focus();
}

function show_decision() {
  const results = picked();
  find("page-decide").hidden = find("page-chosen").hidden = !results.length;
  if (!results.length) return;
  const parts = new Set(results.map((each) => `${each.lot}/${each.serial}`)).size;
  find("page-chosen").firstChild.textContent = find("decide-title").textContent = t(results.length === 1 ? "suspects.decide_one" : "suspects.decide", { results: results.length, parts });
  const possible = kinds.filter((kind) => results.every((each) => each.decisions.includes(kind)));
  for (const kind of kinds) {
    const radio = find(`decide-${kind}`);
    radio.disabled = !possible.includes(kind);
    if (radio.disabled) radio.checked = false;
  }
  const kind = document.querySelector("[name=decision]:checked")?.value;
  find("decide-note").required = kind === "use_as_is";
  const released = results.filter((each) => each.customer_note_needed);
  find("decide-customer-row").hidden = !released.length;
  find("decide-customer").required = released.length > 0;
  find("decide-customer-why").textContent = released.length ? t("suspects.customer_why", { parts: [...new Set(released.map((each) => each.serial))].join(", ") }) : "";
  find("decide-send").textContent = kind ? t(`suspects.do.${kind}`, { count: results.length }) : t("suspects.do.none");
  find("decide-send").disabled = !kind;
}

async function load() {
  const [rows, register] = await Promise.all([ask("/api/v1/suspects"), ask("/api/v1/gauges")]);
  all = rows;
  gauges = Object.fromEntries(register.map((each) => [each.id, each]));
  now = Date.now();
  for (const fact of chosen) if (!all.some((each) => each.fact === fact)) chosen.delete(fact);
  show_filter();
  show_list();
  show_decision();
}

async function decide() {
  const results = picked();
  const body = { kind: "clear_suspect", idempotency_key: crypto.randomUUID(), results: results.map((each) => each.fact),
    decision: document.querySelector("[name=decision]:checked")?.value ?? "", person: find("decide-person").value.trim(), reason: find("decide-reason").value,
    note: find("decide-note").value.trim(), customer: results.some((each) => each.customer_note_needed) ? find("decide-customer").value.trim() : "" };
  const done = await ask("/api/v1/commands", body, "clear_suspect");
  chosen.clear();
  find("decide-note").value = find("decide-customer").value = "";
  await load();
  say(find("page-say"), t(`suspects.done.${done.decision}`, { count: done.decided }));
  find("page-filter").querySelector("select").focus();
}

find("page-names").append(...people().map((each) => make("option", { value: each.name })));
find("decide-reason").append(make("option", { value: "" }, t("suspects.choose")), ...(lists.suspect_reasons ?? []).map((each) => make("option", { value: each }, each)));
find("decide-kinds").append(...kinds.map((kind) => make("label", {}, make("input", { type: "radio", name: "decision", id: `decide-${kind}`, value: kind }), t(`suspects.kind.${kind}`))));
find("page-filter").addEventListener("submit", (event) => {
  event.preventDefault();
  location.search = here(Object.fromEntries(new FormData(event.target)));
});
find("page-decide").addEventListener("submit", (event) => {
  event.preventDefault();
  say(find("decide-say"), "");
  decide().catch((fault) => say(find("decide-say"), fault.message, true));
});
document.addEventListener("change", (event) => {
  const { pick, all: whole } = event.target.dataset;
  if (pick) event.target.checked ? chosen.add(pick) : chosen.delete(pick);
  if (whole) for (const each of wanted()) if (each.failure === whole) event.target.checked ? chosen.add(each.fact) : chosen.delete(each.fact);
  if (pick || whole) show_list();
  if (pick || whole || event.target.name === "decision") show_decision();
});

for (;;) {
  try {
    await load();
    if (find("page-say").dataset.gone) { say(find("page-say"), ""); delete find("page-say").dataset.gone; }
  } catch (fault) {
    find("page-say").dataset.gone = "1";
    say(find("page-say"), fault.message, true);
  }
  document.body.dataset.ready = "1";
  await new Promise((later) => setTimeout(later, 2000));
}
