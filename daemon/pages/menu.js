// Behind the one menu key: all that is not measuring.
import { t, has, word, plain, shown, unit, capital, clock_time, languages } from "./words.js";
import { ask, choose } from "./panels.js";
import { ask_screen } from "./screen.js";
import { people, load_lists, edition, tool_name, change_name } from "./shop.js";

export const person_field = (name, label, value) => ({
  name, label, kind: "choice", value, other: t("form.person_other"), options: people().map((person) => [person.name, person.role ? `${person.name}, ${word("role", person.role)}` : person.name]),
});

/// What the daemon refused, in a sentence: by its code and, where that says too little, by what was asked for.
export function refusal(done) {
  const code = done.status ? done.answer?.code ?? "" : "no_connection";
  const key = [`problem.${code}.${done.kind}`, `problem.${code}`].find(has);
  return key ? t(key) : t("problem.other", { code: code || done.status });
}

/// `link` sends; `view` is the present one; `tell` shows a short text.
export async function open_menu(link, view, tell, turn_language) {
  const lists = await load_lists();
  const send = (kind, saw = true) => async (values) => {
    const done = await link.send(kind, values, saw);
    return done.ok ? null : refusal(done);
  };
  const now = async (kind, body = {}) => {
    const done = await link.send(kind, body);
    if (!done.ok) tell(refusal(done));
  };
  const walk = view.walk, step = view.step, items = [];
  const add = (key, act, label = t(`menu.${key}`)) => items.push({ label, act });
  if (walk) {
    add("park", () => now("park"));
    add("note", () => write_note(link));
    add("run_change", () => run_change(link, view, lists, send));
    if (walk.need === "release" || view.hold?.kind === "setup_not_released")
      add("run_release", () => ask(t("menu.run_release"), [{ kind: "note", label: t("caution.release") }, person_field("person", t("form.second_person"))], (values) => send("run_release")({ ...values, lot: walk.lot })));
  }
  add("change_person", () => choose_person(link, view, tell));
  if (walk && step?.unit && step.kind !== "setting")
    add("type_value", () => ask(t("menu.type_value"), [{ kind: "note", label: t("form.typed_note") }, { name: "value", label: t("form.value"), mode: "decimal" }, { name: "unit", label: t("form.unit"), value: step.unit }],
      // For the step that was shown when it was opened, and for no other.
      (values) => send("type_value", view)({ value: plain(values.value), unit: values.unit })));
  if (walk && lists.tools.length) add("state_tool", () => choose_tool_kind(link, lists, tell));
  if (view.hold?.hard && view.hold.kind !== "setup_not_released")
    add("lift_hold", () => ask(t("menu.lift_hold"), [person_field("person", t("form.second_person")), { name: "reason", label: t("form.reason"), kind: "choice", options: lists.pass_reasons.map((reason) => [reason, reason]) }], send("lift_hold")));
  if (can_be_set_aside(view)) add("set_aside", () => choose_about(link, view, tell));
  if (walk) {
    add("end_walk", () => now("end_walk"));
    add("give_up", () => choose(t("menu.give_up"), lists.pass_reasons.map((reason) => ({ label: reason, act: () => now("give_up", { reason }) }))));
  }
  add("confirm_clock", () => ask(t("clock.title", { time: clock_time(link.now()) }), [person_field("person", t("form.person"), view.person), { name: "right", label: t("menu.confirm_clock"), kind: "choice", options: [["yes", t("clock.right")], ["no", t("clock.wrong")]] }],
    (values) => send("confirm_clock", false)({ person: values.person, right: values.right === "yes" })));
  add("theme", turn_theme);
  add("screen", ask_screen);
  add("language", () => choose(t("menu.language"), languages.map((each) => ({ label: t(`language.${each}`), act: () => turn_language(each) }))));
  choose(t("menu.title"), items);
}

/// Who is at the bench from now on: one touch on a name.
export function choose_person(link, view, tell) {
  const kind = view.walk ? "change_person" : "state_person";
  const take = async (values) => {
    const done = await link.send(kind, values, Boolean(view.walk));
    return done.ok ? null : refusal(done);
  };
  const items = people().filter((person) => person.name !== view.person).map((person) => ({ label: person.name, sub: word("role", person.role), act: async () => {
    const said = await take({ person: person.name });
    if (said) tell(said);
  } }));
  items.push({ label: t("form.person_other"), act: () => ask(t("menu.change_person"), [{ name: "person", label: t("form.person"), wide: true }], take) });
  choose(t("menu.change_person"), items);
}

export const can_be_set_aside = (view) => Boolean(view.walk && view.last?.what === "counted" && view.last.key);

/// The reading that came last: set aside for a reason, or a word about it.
export async function choose_about(link, view, tell) {
  const lists = await load_lists(), last = view.last;
  const aside = async (reason) => {
    const done = await link.send("set_aside", { reading: last.key, reason });
    if (!done.ok) tell(refusal(done));
  };
  choose([capital(last.name), [shown(last.value), unit(last.unit)].filter(Boolean).join(" ")].filter(Boolean).join(": "), [
    ...lists.retake_reasons.map((reason) => ({ label: t("about.set_aside", { reason }), act: () => aside(reason) })),
    { label: t("menu.note"), act: () => write_note(link) }]);
}

function write_note(link) {
  ask(t("menu.note"), [{ name: "text", label: t("form.text"), wide: true }], async (values) => {
    const done = await link.send("note", values);
    return done.ok ? null : refusal(done);
  });
}

async function run_change(link, view, lists, send) {
  const known = await edition(view.walk.edition);
  const changes = lists.run_changes.map(({ change, follows }) => [change, `${change_name(change)}: ${word("follows", follows)}`]);
  const named = new Set(lists.run_changes.filter(({ follows }) => follows === "features_named").map(({ change }) => change));
  const measured = (known?.features ?? []).map((feature) => [feature.key, `${feature.balloon} ${feature.name}`]);
  const show_features = (inputs) => { const box = inputs.get("features"); if (box) box.closest("label[id]").hidden = !named.has(inputs.get("change").value); };
  const inputs = ask(t("menu.run_change"), [
    { name: "change", label: t("form.change"), kind: "choice", options: changes, changed: show_features },
    person_field("person", t("form.person")),
    { name: "machine", label: t("form.machine"), value: view.walk.machine }, { name: "program", label: t("form.program") }, { name: "heat", label: t("form.heat") },
    ...(measured.length ? [{ name: "features", id: "page-features", label: t("form.features"), kind: "checks", options: measured, wide: true }] : []),
    { name: "note", label: t("menu.note"), wide: true },
  ], (values) => {
    const body = { lot: view.walk.lot };
    for (const [name, value] of Object.entries(values)) if (value.length) body[name] = value;
    if (!named.has(body.change)) delete body.features;
    return send("run_change")(body);
  });
  show_features(inputs);
}

function choose_tool_kind(link, lists, tell) {
  const kinds = [...new Set(lists.tools.map((tool) => tool.kind))];
  choose(t("menu.state_tool"), kinds.map((kind) => ({ label: kind.replaceAll("-", " "), act: () => choose_tool(link, { tool: kind, choices: lists.tools.filter((tool) => tool.kind === kind && tool.may_be_used).map((tool) => tool.id) }, tell) })));
}

/// Which plug or mating part: stated once a walk.
export function choose_tool(link, wanted, tell) {
  const items = wanted.choices.map((id) => ({ label: tool_name(id), act: async () => {
    const done = await link.send("state_tool", { tool: wanted.tool, id }, false);
    if (!done.ok) tell(refusal(done));
  } }));
  choose(items.length ? t("tool.title", { tool: wanted.tool.replaceAll("-", " ") }) : t("tool.none"), items, "tool");
}

function turn_theme() {
  const root = document.documentElement;
  const dark = (root.dataset.theme ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  root.dataset.theme = dark ? "light" : "dark";
  localStorage.setItem("theme", root.dataset.theme);
}

