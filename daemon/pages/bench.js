// The bench page: shows the view that the daemon sends, and sends what the person does. It judges nothing.
import { load_words, turn_language, t, word, shown, age, ago, clock_time, day_time, capital, has } from "./words.js";
import { load_shop, bench_name, master_name } from "./shop.js";
import { find, fill, make } from "./dom.js";
import { Link } from "./link.js";
import { Sound } from "./sound.js";
import { Keys } from "./keys.js";
import { Drawing } from "./drawing.js";
import { sentence, next_sentence } from "./say.js";
import { last_shown } from "./verdict.js";
import { shape } from "./shapes.js";
import { trace_picture } from "./trace.js";
import { derived_lines, derived_words, show_working } from "./working.js";
import { draw_stage } from "./stage.js";
import { choose, close_panel, panel_key, panel_open } from "./panels.js";
import { open_menu, can_be_set_aside, choose_about, choose_person, choose_tool, refusal } from "./menu.js";
import { open_start, scan_start } from "./start.js";
import { set_theme } from "./page.js";
import { set_screen } from "./screen.js";
import { tell_ear } from "./heard.js";

const bench = decodeURIComponent(location.pathname.split("/").filter(Boolean).at(-1));
const query = new URLSearchParams(location.search);
let link, keys, sound, drawing;
let no_sound = false, said_alarms = [], said_key = "", said_do = "", asked_tool = "", heard_press = 0, busy = false;

function set_text(element, text) { if (element.textContent !== text) element.textContent = text; }

/// The tray slot by slot: which is in hand, which wait, which have ended, which hold a reject.
function tray_row(walk) {
  return make("span", { class: "tray", role: "list", "aria-label": t("tray") }, ...walk.tray.map((slot) => {
    const now = slot.slot === walk.slot, state = t(`tray.${slot.state}`, { open: slot.open });
    return make("span", { role: "listitem", class: `${slot.state}${now ? " now" : ""}`, "aria-current": now ? "step" : null, title: t("tray.slot", { slot: slot.slot, serial: slot.serial, state }) }, String(slot.slot));
  }));
}

function show_head(view) {
  const walk = view.walk;
  const left = walk
    ? [make("b", {}, walk.size), t("head.print", { print: walk.print_revision }), t("head.lot", { lot: walk.lot_name }),
       walk.serial != null ? make("span", {}, make("b", {}, t("head.part", { serial: walk.serial })), " ", (walk.first ?? 1) === 1 ? t("head.of", { total: walk.last ?? walk.total }) : t("head.range", { first: walk.first, last: walk.last })) : null,
       word("stage", walk.part_stage ?? walk.stage), walk.part_held ? make("span", { class: "held" }, t("head.held")) : null]
    : [make("b", {}, bench_name(view.bench))];
  if (walk?.tray) left.push(tray_row(walk));
  const kept = view.last?.utc ? t("head.kept", { time: clock_time(view.last.utc) }) : null;
  const right = [walk ? bench_name(view.bench) : null, view.person ? `${view.person} (${t("head.stated")})` : t("head.person_none"), kept];
  const join = (parts) => parts.filter(Boolean).flatMap((part, index) => (index ? [" \u00b7 ", part] : [part]));
  fill(find("page-head"), make("span", {}, ...join(left)), make("span", {}, ...join(right)));
  document.title = [walk ? `${walk.size} ${walk.lot_name}` : null, bench_name(view.bench)].filter(Boolean).join(" \u00b7 ");
}

function show_sentence(view) {
  const said = sentence(view, link.now());
  if (view.walk?.slot != null && view.step) said.title = t("do.slot", { slot: view.walk.slot, serial: view.walk.serial, title: said.title });
  set_text(find("page-do"), said.title);
  set_text(find("page-how"), said.how ?? "");
  set_text(find("page-limits"), capital(said.limits ?? ""));
  find("page-limits").hidden = !said.limits;
  const caution = find("page-caution");
  set_text(caution, (said.caution ?? []).join(" "));
  caution.hidden = !said.caution?.length;
  find("page-hold").hidden = !said.held;
  const balloon = find("page-balloon");
  balloon.hidden = !said.balloon;
  set_text(balloon, said.balloon ?? "");
  const whole = [said.title, said.how].filter(Boolean).map((each) => /[.!?:]$/.test(each) ? each : `${each}.`).join(" ");
  if (whole !== said_do) {
    said_do = whole;
    tell_ear(whole, 1);
  }
}

/// All digits and letters are shown: a long value is set smaller, never cut.
function fit(element) {
  if (!element) return;
  element.style.fontSize = "";
  for (let turn = 0; turn < 6 && element.scrollWidth > element.clientWidth; ++turn)
    element.style.fontSize = `${Math.floor(parseFloat(getComputedStyle(element).fontSize) * Math.min(.97, element.clientWidth / element.scrollWidth))}px`;
}

function redraw(view) {
  const large = find("page-value").querySelectorAll(".number, .word");
  large.forEach(fit);
  draw_stage(view, drawing, find("page-overlay"), find("page-value"), find("page-stage"));
  // Where there is too little room the menu has the one, its key the other.
  const buttons = [...find("page-value").querySelectorAll(".about")].reverse();
  for (const button of buttons) button.hidden = false;
  for (const button of buttons) button.hidden = find("page-value").offsetHeight > find("page-stage").clientHeight;
  large.forEach(fit);  // a ruler beside the value takes some of its room
}

function show_value(view) {
  const place = find("page-value");
  // Also under a hold that no value made: what was measured last is told before anything else.
  const seen = last_shown(view);
  place.hidden = !seen;
  if (!seen) return;
  place.className = `value ${seen.shape}`;
  fill(place,
    seen.of ? make("div", { class: "of" }, seen.of) : null, seen.word || seen.number ? shape(seen.shape) : null,
    seen.number != null ? make("div", { class: "number" }, make("span", {}, seen.number), seen.unit ? make("wbr") : null, seen.unit ? make("small", {}, seen.unit) : null) : make("div", { class: "number words" }, seen.word),
    seen.number != null && seen.word ? make("div", { class: "word" }, seen.word) : null,
    seen.trace ? trace_picture(seen.trace, view.step) : null,
    ...[seen.detail].flat().filter(Boolean).map((text) => make("div", { class: "detail" }, text)),
    ...(seen.derived ? derived_lines(view.last) : []),
    ...seen.more.map((text) => make("div", { class: "more" }, text)),
    seen.derived ? make("button", { type: "button", "data-act": "working", class: "about" }, t("act.working"), make("kbd", {}, keys.label("working"))) : null,
    !seen.trace && can_be_set_aside(view) ? make("button", { type: "button", "data-act": "about", class: "about" }, t("act.about")) : null);
  if (seen.key !== said_key) {
    const first = said_key === "";
    said_key = seen.key;
    if (!first) {
      place.classList.add("fresh");
      tell_ear([seen.number, seen.unit, seen.word, seen.detail, seen.derived ? derived_words(view.last) : ""].flat().filter(Boolean).join(" "), 0);
    }
  }
}

function gauge_lines(view) {
  const lines = [], now = link.now();
  const due = new Map((view.settings_due ?? []).map((each) => [each.gauge, each]));
  const serving = new Set((view.step?.gauges ?? []).map((gauge) => gauge.id));
  for (const gauge of view.gauges ?? []) {
    const gone = ["lost", "absent", "backing_off", "silent"].includes(gauge.port_state);
    const values = { gauge: gauge.name, time: gauge.since_utc ? clock_time(gauge.since_utc) : "\u2013" };
    if (gone) {
      lines.push([0, make("span", { class: "bad tag" }, t(`gauge.${gauge.port_state}`, values))]);
    } else if (due.has(gauge.id)) {
      const each = due.get(gauge.id);
      lines.push([1, make("span", { class: "due tag" }, t("gauge.due", { gauge: gauge.name, master: master_name(each.master, shown(each.size)), why: word("why", each.why) }))]);
    } else if (gauge.fit === false) {
      lines.push([2, make("span", { class: "due tag" }, t("gauge.not_fit", { gauge: gauge.name, why: has(`why.${gauge.why}`) ? t(`why.${gauge.why}`) : gauge.why ?? "" }))]);
    } else if (serving.has(gauge.id)) {
      const heard = gauge.last_heard_utc ? t("gauge.heard", { ago: ago(gauge.last_heard_utc, now) }) : t("gauge.never_heard");
      const until = gauge.void_at_utc ? t("gauge.good_until", { time: day_time(gauge.void_at_utc, now) }) : "";
      const parts = gauge.parts_left != null ? t("gauge.parts_left", { count: gauge.parts_left }) : "";
      lines.push([3, make("span", {}, `${capital(gauge.name)}: ${[heard, until, parts].filter(Boolean).join(", ")}`)]);
    }
  }
  const suspects = view.suspects ? [make("span", { class: "due tag" }, view.suspects === 1 ? t("suspects.one") : t("suspects", { count: view.suspects }))] : [];
  return [...lines.sort(([a], [b]) => a - b).map(([, line]) => line), ...suspects];
}

function show_foot(view) {
  const next = next_sentence(view), step = view.step;
  const count = step?.count ?? 0, parts = view.walk?.total ? t("next.parts", { done: view.walk.done ?? 0, total: view.walk.total }) : "";
  const bar = count > 1 && count <= 60 ? make("div", { class: "progress", "aria-hidden": "true" }, ...Array.from({ length: count }, (_, at) => make("i", { class: at + 1 === step.index ? "now" : at + 1 < step.index ? "done" : "" }))) : null;
  fill(find("page-next"), make("div", {}, next.label ? `${next.label} ` : "", next.name ? make("b", {}, `${next.balloon ? `${next.balloon} ` : ""}${next.name}`) : null, next.where ? ` \u00b7 ${next.where}` : "", next.gauge ? ` \u00b7 ${next.gauge}` : ""),
    make("div", {}, [count ? t("next.step", { index: step.index, count }) : "", parts].filter(Boolean).join(" \u00b7 ")), bar);
  const button = (name, action) => make("button", { type: "button", "data-act": name, disabled: !action }, t(`act.${name}`), make("kbd", {}, keys.label(name)),
    make("small", {}, action ? t(`does.${action.does}`, { serial: view.walk?.serial ?? "" }) : ""));
  const actions = view.walk
    ? ["good", "not_good", "again"].map((name) => button(name, view.actions?.[name]))
    : [make("button", { type: "button", "data-act": "begin" }, t("act.begin"), view.parked?.length ? null : make("kbd", {}, keys.label("good")))];
  fill(find("page-actions"), ...actions, make("button", { type: "button", "data-act": "person", class: "menu" }, t("act.person"), make("small", {}, view.person ?? t("head.person_none"))),
    make("button", { type: "button", "data-act": "menu", class: "menu" }, t("act.menu"), make("kbd", {}, keys.label("menu"))));
}

function show_choices(view) {
  const place = find("page-choices"), parked = view.parked ?? [];
  place.hidden = view.state !== "idle" || !parked.length;
  if (place.hidden) return;
  fill(place, ...parked.map((walk, index) => make("button", { type: "button", "data-walk": walk.walk },
    make("b", {}, t("start.take_up", { lot: walk.lot_name, size: walk.size }), index === 0 ? make("kbd", {}, keys.label("good")) : null),
    make("span", {}, t("start.stands_at", { serial: walk.serial ?? "\u2013", last: walk.last ?? "", balloon: walk.balloon ?? "", name: walk.name ?? "", time: day_time(walk.since_utc, link.now()), ago: ago(walk.since_utc, link.now()) })))));
}

function show_alarms(view) {
  const alarm = (name, title, how, bad, quiet) => make("div", { class: bad ? "bad" : quiet ? "quiet" : "", "data-alarm": name }, make("b", {}, title), how ? make("span", {}, how) : null);
  const sentence_of = (text) => text ? capital(/[.!?]$/.test(text) ? text : `${text}.`) : "";
  const why = (group, said) => has(`${group}.${said.code}`) ? t(`${group}.${said.code}`) : [said.why, said.hint].map(sentence_of).join(" ");
  fill(find("page-alarms"),
    view?.keeping?.kept === false ? alarm("not_kept", t("alarm.not_kept"), t("alarm.not_kept_how", { why: why("keeping", view.keeping) }), true) : null,
    view?.clock?.trusted === false ? alarm("clock", t("alarm.clock"), t("alarm.clock_how", { why: why("clock", view.clock) }), false, true) : null,
    no_sound ? alarm("no_sound", t("alarm.no_sound"), "", false) : null);
  const now = [...find("page-alarms").querySelectorAll("b")].map((each) => each.textContent);
  tell_ear(now.filter((each) => !said_alarms.includes(each)).join(". "));
  said_alarms = now;
}

function show_cut() {
  const cut = find("page-cut"), away = !link.connected || !link.view;
  if (away && cut.hidden && link.view) tell_ear(t("cut.title"), 0);
  cut.hidden = !away;
  document.body.classList.toggle("is-cut", away);
  if (!away) return;
  const how = link.view ? t("cut.how", { age: age(link.age()) }) : t("cut.first");
  if (link.unknown && !link.view) return fill(cut, make("b", {}, t("alarm.no_bench", { bench })), make("a", { href: "/" }, t("faults.back")));
  fill(cut, make("b", {}, t("cut.title")), `${how} ${t("cut.again")}`);
}

async function show(view, first) {
  sound.hear(view.sound, first);
  hear_press(view.press, first);
  show_head(view);
  show_sentence(view);
  show_value(view);
  show_choices(view);
  show_foot(view);
  show_alarms(view);
  fill(find("page-gauges"), ...gauge_lines(view));
  document.body.dataset.state = view.state;
  document.body.dataset.ask = view.ask;
  await drawing.show(view.walk?.drawing);
  if (link.view === view) redraw(view);
  ask_for_tool(view);
}

/// A pedal or a code card that the daemon could not act on by itself: what there is to choose is opened here, as by this
/// page's own key, or the reason is said. While something is open to choose from, it moves in that.
function hear_press(press, first) {
  const number = press?.number ?? (first ? 0 : heard_press);
  const news = press && !first && number !== heard_press;
  heard_press = number;
  if (!news || panel_key(press.action)) return;
  if (["to_choose", "tool_not_stated"].includes(press.code)) return on_action(press.action);
  toast(refusal({ status: 409, kind: "act", answer: { code: press.code } }));
}

/// Once a walk, when a step first needs it: which plug or mating part.
function ask_for_tool(view) {
  const wanted = (view.tools_wanted ?? []).find((each) => each.tool === view.step?.tool);
  const key = wanted ? `${view.walk.key}/${wanted.tool}` : "";
  if (!wanted && asked_tool) {  // stated, here or elsewhere, or the step has gone: the question goes too
    asked_tool = "";
    close_panel("tool");
  }
  if (wanted && key !== asked_tool && !panel_open() && view.state === "step") {
    asked_tool = key;
    choose_tool(link, wanted, toast);
  }
}

function toast(text) {
  const place = find("page-toast");
  set_text(place, text);
  place.hidden = false;
  tell_ear(text, 0);
  clearTimeout(toast.timer);
  toast.timer = setTimeout(() => { place.hidden = true; }, 6000);
}

/// `view`: what the person answers.
async function act(action, reason, view) {
  if (busy || !link.connected) return;
  busy = true;
  const done = await link.send("act", reason ? { action, reason } : { action }, view);
  busy = false;
  if (!done.ok) toast(refusal(done));
}

function on_action(name) {
  const view = link.view;
  if (!view || !link.connected) return;
  if (!view.walk) {
    if (name !== "good") return;
    const parked = view.parked?.[0];
    if (parked) return take_up(parked.walk);
    return open_start(link, view);
  }
  const action = view.actions?.[name];
  if (!action) return;
  if (name === "good" && ["go", "no_go", "mating_check"].includes(view.step?.kind)) {
    const wanted = (view.tools_wanted ?? []).find((each) => each.tool === view.step.tool);
    if (wanted) return choose_tool(link, wanted, toast);
  }
  if (action.reasons?.length > 1) return choose(t("reason.title"), action.reasons.map((reason) => ({ label: reason, act: () => act(name, reason, view) })));
  return act(name, action.reasons?.[0], view);
}

async function take_up(walk) {
  const done = await link.send("take_up", { walk }, false);
  if (!done.ok) toast(refusal(done));
}

/// Another language: all of the view is said anew, and nothing is announced twice.
async function speak(language) {
  await turn_language(language);
  await show(link.view, true);
}

function on_key(name) {
  if (name === "menu" && !panel_open()) return link.view && open_menu(link, link.view, toast, speak);
  if (name === "working" && !panel_open()) return show_working(link.view?.last);
  if (panel_key(name)) return;
  if (["good", "not_good", "again"].includes(name)) on_action(name);
}

function on_scan(text, field) {
  if (panel_open()) return scan_start(text, field);
  if (link.view && !link.view.walk) open_start(link, link.view, text);
}

function on_click(event) {
  const button = event.target.closest("[data-act], [data-walk]");
  if (!button || button.disabled) return;
  button.blur();  // the next Enter is the pedal's, not this button's
  if (button.dataset.walk) return take_up(button.dataset.walk);
  if (["menu", "working"].includes(button.dataset.act)) return on_key(button.dataset.act);
  if (button.dataset.act === "person") return link.view && choose_person(link, link.view, toast);
  if (button.dataset.act === "about") return link.view && choose_about(link, link.view, toast);
  if (button.dataset.act === "begin") return link.view && open_start(link, link.view);
  on_action(button.dataset.act);
}

async function start() {
  const page = await load_shop();
  await load_words(page.language, page.decimal_mark);
  set_theme(page);
  set_screen();
  addEventListener("resize", set_screen);  // a zoom too
  drawing = new Drawing(find("page-drawing"));
  keys = new Keys(on_key, on_scan, query.get("keys"));
  sound = new Sound((blocked) => {
    no_sound = blocked;
    show_alarms(link?.view);
  });
  let was_connected = false;
  link = new Link(bench, show, (connected) => {
    if (!connected && was_connected) close_panel();
    was_connected = connected;
    show_cut();
  });
  show_cut();
  find("page-hold").append(shape("neutral"));
  document.addEventListener("click", on_click);
  const again = () => link.view && redraw(link.view);
  new ResizeObserver(again).observe(find("page-stage"));
  setInterval(() => {
    if (!link.view) return;
    fill(find("page-gauges"), ...gauge_lines(link.view));
    show_choices(link.view);
    show_cut();
  }, 1000);
}

start().catch(() => setTimeout(() => location.reload(), 2000));
