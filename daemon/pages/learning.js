// A new gauge: which line it is at, which dialect reads it, or a new dialect learned from what it sends. One line at a time
// is listened to; nothing is ever sent. At the end the lines of the configuration are shown, then written.
import { has, shown, t, unit } from "./words.js";
import { ask, say } from "./page.js";
import { fill, find, make } from "./dom.js";

const path = "/api/v1/learning";
let state = { listening: false };
let lines = [];            // of this machine, as they were seen last
const came = new Map();    // line -> "came" | "gone"
let choosing = false;
let chosen = null;         // { learned, dialect } once a person took one
let busy = false;

/// "12.345 mm" with the shop's decimal mark and the unit's sign.
const read_text = (text) => text.split(" ").map((part) => (/^-?\d/.test(part) ? shown(part) : part.endsWith(":") ? part : unit(part))).join(" ");
const remark = (each) => `${t(`learn.remark.${each.code}`)}${each.detail ? ` (${each.detail})` : ""}`;

async function send(body) {
  busy = true;
  try {
    state = await ask(path, body, "learning");
    say(find("learn-say"), "");
  } catch (fault) {
    say(find("learn-say"), fault.message, true);
  } finally {
    busy = false;
  }
  render();
}

function line_row(line, ports) {
  const used = ports.find((port) => port.path === line.path || port.node === line.node);
  const news = came.get(line.path);
  return make("li", { class: "row" },
    make("button", { type: "button", "data-listen": line.path, disabled: Boolean(used) }, t("learn.listen")),
    make("span", {}, make("b", {}, [line.maker, line.product || line.driver].filter(Boolean).join(" ")), " ", make("code", {}, line.path),
      used ? make("span", { class: "soft" }, ` ${t("learn.in_use", { port: used.port })}`) : null,
      news ? make("b", {}, ` ${t(`learn.${news}`)}`) : null));
}

/// A gauge that says nothing yet is named by unplugging it and plugging it in.
async function look_for_lines() {
  const [now, ports] = await Promise.all([ask(`${path}/lines`), ask("/api/v1/ports")]);
  const in_list = (list, one) => list.some((each) => each.path === one.path);
  if (lines.length || came.size) {
    for (const line of now) if (!in_list(lines, line)) came.set(line.path, "came");
    for (const line of lines) if (!in_list(now, line)) came.set(line.path, "gone");
  }
  lines = now;
  const gone = [...came].filter(([each, news]) => news === "gone" && !in_list(now, { path: each })).map(([each]) => each);
  fill(find("learn-lines"), ...now.map((line) => line_row(line, ports)), ...gone.map((each) => make("li", {}, make("code", {}, each), ` ${t("learn.gone")}`)),
    now.length ? null : make("li", { class: "soft" }, t("learn.no_lines")));
}

function heard_part() {
  if (!state.heard?.readable) return null;
  return make("p", { class: "trial" }, make("span", { class: "soft" }, t("learn.heard")), make("code", { class: "printable" }, state.heard.readable));
}

function what_to_do() {
  if (state.trouble) return make("p", { class: "fault" }, `${state.trouble.what}. ${state.trouble.hint}`);
  if (state.held_back) return make("p", { class: "row" }, t("learn.held_back"), make("button", { type: "button", "data-do": "continue" }, t("learn.continue")));
  if (state.wants === "shown") return null;
  const key = state.wants === "ready" ? "learn.press_more" : state.wants === "other_value" ? "learn.press_other" : state.changed_settings ? "learn.press_changed" : "learn.press";
  return make("p", { class: "what" }, t(key, { line: state.line }), state.tried_all ? make("span", { class: "soft" }, ` ${t("learn.tried_all")}`) : null);
}

function found_part() {
  const known = (state.known ?? []).map((each) => make("li", {}, make("b", {}, read_text(each.read.at(-1))), " ",
    t(each.other_settings ? "learn.known_other" : "learn.known", { dialect: each.dialect, line: each.line }), " ",
    each.other_settings ? null : make("button", { type: "button", "data-known": each.dialect }, t("learn.use_known"))));
  const [proposal] = state.proposals ?? [];
  const learned = proposal ? [make("li", {}, make("b", {}, read_text(proposal.read.at(-1))), ` ${t("learn.proposal", { line: proposal.line, count: proposal.read.length })} `,
    make("button", { type: "button", "data-learned": "1" }, t("learn.use_new")),
    proposal.unseen.length ? make("ul", { class: "soft" }, ...proposal.unseen.map((each) => make("li", {}, t("learn.unseen"), " ", remark(each)))) : null)] : [];
  const missing = (state.missing ?? []).filter((each) => each.code !== "not_shown").map((each) => make("li", { class: "soft" }, remark(each)));
  const parts = [...known, ...learned, ...missing];
  return parts.length ? make("div", {}, make("p", { class: "soft" }, t("learn.hold_against")), make("ul", { class: "found" }, ...parts)) : null;
}

function presses_part() {
  const told = (state.presses ?? []).filter((each) => each.shown);
  return told.length ? make("details", {}, make("summary", {}, t("learn.presses", { count: told.length })),
    make("ul", {}, ...told.map((each) => make("li", {}, make("code", { class: "printable" }, each.readable), ` ${read_text(each.shown)}`)))) : null;
}

function render() {
  const { listening } = state;
  find("learn-begin").hidden = listening || choosing;
  find("learn-choose").hidden = listening || !choosing;
  find("learn-stop").hidden = !listening && !choosing;
  find("learn-sitting").hidden = !listening;
  if (!listening) {
    chosen = null;
    find("learn-card").hidden = true;
    return;
  }
  find("learn-where").textContent = t("learn.where", { path: state.path, line: state.line });
  const details = find("learn-state").querySelector("details");
  fill(find("learn-state"), heard_part(), what_to_do(), found_part(), presses_part());
  if (details?.open) find("learn-state").querySelector("details")?.setAttribute("open", "");
  const asks = state.wants === "shown";
  if (asks && find("learn-answer").hidden) find("learn-shown").value = "";
  find("learn-answer").hidden = !asks;
  find("learn-card").hidden = !chosen;
  find("learn-name").closest("label").hidden = !chosen?.learned;
  find("learn-toml").hidden = !chosen?.learned;
  find("learn-toml").textContent = chosen?.learned ? (state.proposals?.[0]?.toml ?? "") : "";
}

/// What the gauge's last reading says already is filled in.
async function take(choice) {
  const gauges = await ask("/api/v1/gauges");
  const found = choice.learned ? state.proposals[0] : state.known.find((each) => each.dialect === choice.dialect);
  const read = found.read.at(-1).split(" ");
  chosen = { ...choice, speaks: found.speaks };
  const value = read.find((part) => /^-?\d/.test(part) && !part.endsWith(":")) ?? "";
  find("learn-channel").value = read[0].endsWith(":") ? read[0].slice(0, -1) : "";
  find("learn-unit").value = read[read.indexOf(value) + 1] ?? "mm";
  find("learn-resolution").value = value.includes(".") ? `0.${"0".repeat(value.split(".")[1].length - 1)}1` : "1";
  const options = (list) => [...new Set(list)].map((each) => make("option", { value: each }, each));
  fill(find("learn-kinds"), ...options(gauges.map((gauge) => gauge.card.kind)));
  fill(find("learn-bench"), ...options(gauges.map((gauge) => gauge.bench)));
  forget_lines();
  render();
  find("learn-id").focus();
}

/// What was shown must be what is written: a change hides the lines until they are shown anew.
function forget_lines() {
  find("learn-written").hidden = true;
}

function wish(write) {
  const value = (id) => find(`learn-${id}`).value.trim();
  return {
    dialect: chosen.learned ? value("name") : chosen.dialect, learned: chosen.learned, write,
    gauge: { id: value("id"), name: value("title"), kind: value("kind"), bench: value("bench"), channel: value("channel"), unit: value("unit"),
      range_lower: value("lower"), range_upper: value("upper"), resolution: value("resolution"), reads: value("reads"), speaks: chosen.speaks },
  };
}

const fault_lines = (answer) => [has(`problem.${answer.code}`) ? t(`problem.${answer.code}`, answer) : answer.detail,
  ...(answer.faults ?? []).map((each) => `${each.where}: ${each.what} ${each.hint}`)].filter(Boolean).join(" ");

async function add(write) {
  const response = await fetch(`${path}/gauge`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(wish(write)) });
  const answer = await response.json();
  if (!response.ok) return say(find("learn-say"), fault_lines(answer), true);
  say(find("learn-say"), "");
  if (!write) {
    find("learn-lines-text").textContent = answer.lines;
    find("learn-into").textContent = t("learn.into", { file: answer.file });
    find("learn-written").hidden = false;
    return find("learn-write").focus();
  }
  state = { listening: false };
  choosing = false;
  render();
  if (answer.taken) say(find("learn-say"), t("learn.written", { file: answer.file }));
  else say(find("learn-say"), `${t("learn.not_taken", { file: answer.file })} ${fault_lines(answer.reloaded)}`, true);
}

find("page-learning").addEventListener("click", async (event) => {
  const { listen, do: action, known, learned } = event.target.closest("button")?.dataset ?? {};
  if (listen) await send({ do: "listen", path: listen });
  if (action === "look") { choosing = true; lines = []; came.clear(); render(); await turn(); }
  if (action === "stop") { choosing = false; if (state.listening) await send({ do: "stop" }); else render(); }
  if (action === "forget" || action === "continue") await send({ do: action });
  if (action === "write") await add(true);
  if (known) await take({ dialect: known, learned: false });
  if (learned) await take({ learned: true });
});
find("learn-other").addEventListener("submit", async (event) => {
  event.preventDefault();
  await send({ do: "listen", path: find("learn-path").value.trim(), line: find("learn-settings").value.trim() });
});
find("learn-answer").addEventListener("submit", async (event) => {
  event.preventDefault();
  await send({ do: "shown", shown: find("learn-shown").value.trim() });
});
find("learn-card").addEventListener("input", forget_lines);
find("learn-card").addEventListener("submit", async (event) => {
  event.preventDefault();
  await add(false);
});

async function turn() {
  if (busy) return;
  try {
    state = await ask(path);
    if (!state.listening && state.ended === "time_over") say(find("learn-say"), t("learn.time_over"));
    if (choosing && !state.listening) await look_for_lines();
    render();
  } catch {
    // The page's own loop says that nobody answers.
  }
}

/// Looks at how it stands, as often as a person can press.
export async function follow_learning() {
  for (;;) {
    await turn();
    await new Promise((later) => setTimeout(later, state.listening || choosing ? 500 : 3000));
  }
}
