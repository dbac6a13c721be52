// The gauges: how each port stands, what came last and what was made of it, what was refused and why, what nobody asked for.
// A gauge can be tried: its next reading is shown here, judged against nothing, kept nowhere.
import { ago, day_time, shown, t, unit, word } from "./words.js";
import { ask, say, start_page } from "./page.js";
import { bench_name, master_name } from "./shop.js";
import { fill, find, make } from "./dom.js";
import { follow_learning } from "./learning.js";

await start_page();
document.title = t("gauges.title");

const open = new Set();   // gauges whose details a person has opened
const trials = {};
let now = Date.now();

const iso = (micros) => new Date(micros / 1000).toISOString();
const bytes = (hex) => hex.match(/../g) ?? [];
const spaced_hex = (hex) => bytes(hex).join(" ");
/// What can be printed of the bytes, in the order in which they came; the rest as a middle dot.
const printable = (hex) => bytes(hex).map((pair) => parseInt(pair, 16)).map((code) => (code >= 32 && code < 127 ? String.fromCharCode(code) : "\u00b7")).join("");

function frame_parts(frame) {
  const made = frame.refusal
    ? make("span", { class: "refused" }, t("gauges.refused", { reason: word("frame", frame.refusal) }), frame.detail ? make("span", { class: "soft" }, ` ${frame.detail}`) : null)
    : !frame.value && frame.cause ? make("b", {}, word("cause", frame.cause))   // a pedal or a code card that acted
    : make("b", {}, `${shown(frame.value)} ${unit(frame.unit)}`, frame.status && frame.status !== "ok" ? ` (${word("frame", frame.status)})` : null);
  return [make("code", { class: "hex" }, spaced_hex(frame.bytes_hex)), make("code", { class: "printable" }, printable(frame.bytes_hex)), made];
}

function frame_row(frame, gauge_name) {
  return make("tr", {}, make("td", { "data-name": t("gauges.time") }, day_time(iso(frame.utc_us), now), make("span", { class: "soft" }, ` ${iso(frame.utc_us).slice(17, 23)} s`)),
    gauge_name ? make("td", { "data-name": t("gauges.gauge") }, gauge_name) : null,
    ...frame_parts(frame).map((part, index) => make("td", { "data-name": t(["gauges.bytes", "gauges.printable", "gauges.decoded"][index]) }, part)),
    make("td", { "data-name": t("gauges.cause") }, frame.cause ? word("cause", frame.cause) : ""));
}

function frames_table(rows, with_gauge) {
  const names = [t("gauges.time"), ...(with_gauge ? [t("gauges.gauge")] : []), t("gauges.bytes"), t("gauges.printable"), t("gauges.decoded"), t("gauges.cause")];
  return make("table", {}, make("thead", {}, make("tr", {}, ...names.map((name) => make("th", { scope: "col" }, name)))), make("tbody", {}, ...rows));
}

function state_of(gauge, port) {
  const state = port?.state ?? gauge.port_state ?? "absent";
  const good = state === "open" || state === "silent";
  return make("span", { class: `state ${good ? "good" : "bad"}` }, word("port", state), good || !port?.away_since_utc_us ? null : ` ${t("gauges.since", { time: day_time(iso(port.away_since_utc_us), now) })}`);
}

function trial_text(trial) {
  if (!trial || trial.state === "none") return null;
  if (trial.state === "waiting") return make("p", { class: "trial", role: "status" }, t("gauges.waiting", { seconds: Math.max(0, Math.ceil((trial.until_utc_us / 1000 - now) / 1000)) }));
  if (trial.state === "reading") return make("p", { class: "trial", role: "status" }, ...frame_parts(trial.frame).reverse(), make("span", { class: "soft" }, t("gauges.not_kept")));
  if (trial.state === "not_answered") return make("p", { class: "trial fault", role: "status" }, t("gauges.not_answered"));
  return make("p", { class: "trial", role: "status" }, t(`gauges.ended.${trial.why}`));
}

/// The masters that it is set on, each with its own size, limit and what its calibration says; and what the last setting showed.
function masters_of(gauge) {
  const rule = gauge.card.setting ?? {}, name = unit(gauge.card.unit);
  const one = (id, size, limit, uncertainty, due) => [`${master_name(id, size)}: ${t("detail.plus_minus", { size: shown(size), limit: shown(limit), unit: name })}`,
    uncertainty ? t("gauges.uncertainty", { amount: shown(uncertainty), unit: name }) : "", due ? t(due < new Date(now).toISOString().slice(0, 10) ? "gauges.overdue" : "gauges.due", { day: due }) : ""].filter(Boolean).join(" \u00b7 ");
  const rows = [];
  if (rule.master) rows.push([t("gauges.master"), one(rule.master, rule.size, rule.limit, rule.uncertainty, rule.due)]);
  if (rule.master_2) rows.push([t("gauges.second_master"), one(rule.master_2, rule.size_2, rule.limit_2, rule.uncertainty_2, rule.due_2)]);
  if (gauge.set_utc && gauge.zero != null) rows.push([t("gauges.last_setting"), [day_time(gauge.set_utc, now), t("gauges.zero", { amount: shown(gauge.zero), unit: name }),
    gauge.gain ? t(rule.gain_limit ? "gauges.gain_within" : "gauges.gain", { gain: shown(gauge.gain), limit: shown(rule.gain_limit) }) : ""].filter(Boolean).join(" \u00b7 ")]);
  return rows;
}

function card(gauge, port, recent) {
  const last = recent?.frames?.at(-1);
  const refusals = Object.entries(recent?.refusals ?? {});
  const trial = trials[gauge.id];
  const waiting = trial?.state === "waiting";
  const facts = [
    [t("gauges.port"), make("span", {}, `${port?.port ?? gauge.card.port} `, make("code", {}, port?.path || ""), port?.node && port.node !== port.path ? make("span", { class: "soft" }, " ", make("code", {}, port.node)) : null)],
    [t("gauges.heard"), gauge.last_heard_utc || recent?.last_heard_utc_us ? ago(recent?.last_heard_utc_us ? iso(recent.last_heard_utc_us) : gauge.last_heard_utc, now) : t("gauge.never_heard")],
    [t("gauges.last"), last ? make("span", { class: "frame" }, ...frame_parts(last)) : t("gauges.none")],
    [t("gauges.refusals"), refusals.length ? refusals.map(([reason, count]) => `${word("frame", reason)}: ${count}`).join(", ") : t("gauges.none")],
    [t("gauges.fitness"), gauge.fit ? t("gauges.fit") : [word("why", gauge.why), gauge.card.setting?.master ? master_name(gauge.card.setting.master, gauge.card.setting.size) : ""].filter(Boolean).join(" \u00b7 ")],
  ];
  facts.push(...masters_of(gauge));
  if (port?.why) facts.push([t("gauges.found"), make("span", { class: "fault" }, port.why, port.hint ? make("span", { class: "soft" }, ` ${port.hint}`) : null)]);
  for (const warning of port?.warnings ?? []) facts.push([t("gauges.warning"), warning]);
  return make("article", { class: "gauge", "data-gauge": gauge.id }, make("h3", {}, gauge.name, make("span", { class: "soft" }, ` ${word("speaks", gauge.speaks)}`), state_of(gauge, port)),
    make("dl", {}, ...facts.flatMap(([name, value]) => [make("dt", {}, name), make("dd", {}, value)])),
    make("div", { class: "row" }, make("button", { type: "button", "data-try": gauge.id }, t(waiting ? "gauges.stop" : gauge.speaks === "asked" ? "gauges.try_asked" : "gauges.try")),
      make("button", { type: "button", "data-more": gauge.id, "aria-expanded": String(open.has(gauge.id)) }, t("gauges.frames", { count: recent?.frames?.length ?? 0 }))),
    trial_text(trial),
    open.has(gauge.id) ? frames_table((recent?.frames ?? []).toReversed().map((frame) => frame_row(frame)), false) : null);
}

/// A port that no gauge stands at: a pedal, a button, a reader of code cards.
function input_card(port, recent) {
  const facts = [[t("gauges.port"), make("code", {}, port.node || port.path)]];
  if (port.why) facts.push([t("gauges.found"), make("span", { class: "fault" }, port.why, port.hint ? make("span", { class: "soft" }, ` ${port.hint}`) : null)]);
  for (const warning of port.warnings ?? []) facts.push([t("gauges.warning"), warning]);
  return make("article", { class: "gauge", "data-input": port.port }, make("h3", {}, port.port, state_of({}, port)),
    make("dl", {}, ...facts.flatMap(([name, value]) => [make("dt", {}, name), make("dd", {}, value)])),
    recent?.frames?.length ? frames_table(recent.frames.toReversed().map((frame) => frame_row(frame)), false) : null);
}

async function show() {
  const [gauges, ports, recents, unknown, unasked] = await Promise.all(["gauges", "ports", "ports/recent", "ports/unknown", "ports/unasked"].map((path) => ask(`/api/v1/${path}`)));
  now = Date.now();
  for (const id of Object.keys(trials)) if (trials[id].state === "waiting") trials[id] = await ask(`/api/v1/gauges/${id}/try`);
  const benches = [...new Set(gauges.map((gauge) => gauge.bench))];
  const focus = document.activeElement?.dataset ?? {};
  fill(find("page-benches"), ...benches.map((bench) => make("section", {}, make("h2", {}, bench_name(bench)), make("div", { class: "cards" },
    ...gauges.filter((gauge) => gauge.bench === bench).map((gauge) => card(gauge, ports.find((port) => port.port === gauge.card.port), recents.find((each) => each.gauge === gauge.id)))))));
  for (const name of ["try", "more"]) if (focus[name]) document.querySelector(`[data-${name}="${focus[name]}"]`)?.focus();
  const strangers = unknown.map((each) => make("li", {}, t("gauges.stranger", { port: each.port, channel: each.channel || "?", count: each.count }), " ",
    make("code", {}, spaced_hex(each.last_bytes_hex)), ` ${shown(each.last_value)} ${unit(each.last_unit)} \u00b7 ${ago(iso(each.last_utc_us), now)}`));
  const inputs = ports.filter((port) => !gauges.some((gauge) => gauge.card.port === port.port));
  find("page-inputs").hidden = !inputs.length;
  fill(find("page-inputs"), make("h2", {}, t("gauges.inputs")), make("div", { class: "cards" },
    ...inputs.map((port) => input_card(port, recents.find((each) => !each.gauge && each.port === port.port)))));
  const loose = recents.filter((each) => !each.gauge && each.frames.length && !inputs.some((port) => port.port === each.port));
  find("page-strangers").hidden = !strangers.length && !loose.length;
  fill(find("page-strangers"), make("h2", {}, t("gauges.strangers")), make("ul", {}, ...strangers),
    ...loose.map((each) => make("div", {}, make("h3", {}, each.port), frames_table(each.frames.toReversed().map((frame) => frame_row(frame)), false))));
  const names = Object.fromEntries(gauges.map((gauge) => [gauge.id, gauge.name]));
  fill(find("page-unasked"), make("h2", {}, t("gauges.unasked")), make("p", { class: "soft" }, t("gauges.unasked_lead")),
    unasked.length ? frames_table(unasked.toReversed().map((each) => frame_row(each.frame, names[each.gauge] ?? each.gauge)), true) : make("p", {}, t("gauges.none")));
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  const { try: tried, more } = button?.dataset ?? {};
  if (more) open.has(more) ? open.delete(more) : open.add(more);
  try {
    if (tried) trials[tried] = await ask(`/api/v1/gauges/${tried}/try`, trials[tried]?.state === "waiting" ? { stop: true } : {}, "try");
    say(find("page-say"), "");
    if (tried || more) await show();
  } catch (fault) {
    say(find("page-say"), fault.message, true);
  }
});

follow_learning();
for (;;) {
  try {
    await show();
    if (find("page-say").dataset.gone) { say(find("page-say"), ""); delete find("page-say").dataset.gone; }
  } catch (fault) {
    find("page-say").dataset.gone = "1";
    say(find("page-say"), fault.message, true);
  }
  document.body.dataset.ready = "1";
  await new Promise((later) => setTimeout(later, 1000));
}
