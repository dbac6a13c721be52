// One sentence: what to do with which gauge. From the view of a bench to words; nothing here touches the page.
import { t, has, word, padded, shown, unit, capital, clock_time, day_time } from "./words.js";
import { master_name, tool_name } from "./shop.js";
import { judged_by } from "./working.js";

const place_of = (step) => step.place ? t("do.place", { name: step.name, place: step.place }) : step.name;

/// Nominal and limits in the print's unit, and the feature's class.
export function limits_of(step) {
  if (step.judged === false) return step.serves?.length ? t("limits.serves", { names: step.serves.map((one) => `${one.balloon} ${one.name}`).join(", ") }) : "";
  if (!step.unit || (step.lower == null && step.upper == null)) return "";
  const values = { lower: padded(step.lower, step.decimals), upper: padded(step.upper, step.decimals), unit: unit(step.unit) };
  const key = step.lower == null ? "detail.at_most" : step.upper == null ? "detail.at_least" : "detail.limits";
  const nominal = step.nominal != null ? t("say.nominal", { nominal: padded(step.nominal, step.decimals) }) : "";
  return [[nominal, t(key, values)].filter(Boolean).join(", "), word("class", step.class), judged_by(step)].filter(Boolean).join(" \u00b7 ");
}

function serving(step) { return (step?.gauges ?? []).map((gauge) => gauge.name).join(", "); }

function within(step) {
  if (step.lower != null && step.lower !== "" && step.upper != null) return t("detail.limits", { lower: shown(step.lower), upper: shown(step.upper), unit: unit(step.unit) });
  return t("detail.plus_minus", { size: shown(step.size), limit: shown(step.limit), unit: unit(step.unit) });
}

/// Of a gauge that is due on its master: a step of kind "setting", or one of the view's settings_due.
function for_setting(step) {
  const size = shown(step.size ?? step.nominal), master = master_name(step.master, size);
  const values = { gauge: capital(step.name), master, within: within(step), unit: unit(step.unit), size };
  if (step.master_overdue) return { title: t("do.setting_overdue", { ...values, master: capital(master) }), how: t("how.setting_overdue", { ...values, day: step.master_overdue }) };
  if (step.points === 2) values.within = `${values.within} (${t("how.setting_point", { point: step.point })})`;
  if (step.phase === "as_left") return { title: t("do.setting_left", { ...values, gauge: step.name }), how: t("how.setting_left", values) };
  return { title: t("do.setting_found", { ...values, master: capital(master) }), how: t(step.attempt > 1 ? "how.setting_wipe" : "how.setting_found", { ...values, gauge: step.attempt > 1 ? step.name : values.gauge }) };
}

/// How a capture with samples ends: by good, after a time or the time of its turns, or once its value has settled.
const end_word = (capture) => capture.kind === "settled" ? "settled" : capture.end_after_ms == null ? "good" : capture.turns ? "turns" : "time";
const ends_of = ({ capture }) => ({ seconds: shown((capture?.end_after_ms ?? 0) / 1000), turns: capture?.turns ?? "", settle: shown((capture?.settle_ms ?? 0) / 1000) });
const while_it_runs = (trace) => trace.waits ? "waits" : trace.kind === "settled" ? "settled" : trace.end_after_ms == null ? "good" : "time";

function how_begun(step, gauge) {
  const values = { ...ends_of(step), gauge };
  return [t(step.capture.movement != null ? "how.capture_begin.movement" : "how.capture_begin.good", values), t(`how.capture_end.${end_word(step.capture)}`, values)].join(" ");
}

function for_step(view) {
  const step = view.step;
  if (step.kind === "setting") return for_setting(step);
  const caution = [t("caution.measure")];
  const limits = limits_of(step);
  const names = serving(step);
  const out = { balloon: step.balloon, title: capital(place_of(step)), how: "", limits, caution };
  if (["go", "no_go", "mating_check", "look"].includes(step.kind)) {
    out.title = step.question ?? capital(place_of(step));
    const tool = step.tool_id ? t("how.tool", { tool: tool_name(step.tool_id) }) : "";
    out.how = [capital(step.name), tool].filter(Boolean).join(", ") + ".";
    if (step.attempt > 1) out.how += " " + t("how.answer_once_more");
    else if (step.method) out.how += " " + step.method;
    caution.splice(0, 1, t("caution.sharp"));
    return out;
  }
  if (view.state === "capture" && view.trace) return { ...out, title: capital(t("do.capturing", { name: step.name })), how: t(`how.capturing.${while_it_runs(view.trace)}`, ends_of(step)) };
  if (view.state === "capture") return { ...out, title: capital(t("do.capture", { name: step.name })), how: t("how.capture") };
  if (!names) return { ...out, how: t("how.no_gauge") };
  const gone = (gauge) => ["lost", "absent", "backing_off"].includes(gauge.port_state ?? gauge.state);
  if (step.gauges.every(gone)) return { ...out, how: t("how.lost", { gauge: capital(names), time: step.gauges[0].since_utc ? clock_time(step.gauges[0].since_utc) : "\u2013" }) };
  const speaks = step.gauges[0].speaks ?? "pushed";
  const asked = view.asked_gauge && step.gauges.some((gauge) => gauge.id === view.asked_gauge);
  out.how = step.capture ? how_begun(step, capital(names)) : t(asked ? "how.asked_now" : `how.${speaks}`, { gauge: capital(names) });
  if (step.capture && step.attempt > 1) out.how = `${t("how.capture_again")} ${out.how}`;
  else if (step.attempt === 2) out.how = t("how.once_more") + " " + capital(names) + ".";
  else if (step.attempt > 2) out.how = t("how.third") + " " + capital(names) + ".";
  else if (step.method) out.how += " " + step.method;
  return out;
}

function for_hold(view) {
  const hold = view.hold, step = view.step ?? {};
  const values = {
    value: shown(hold.value), unit: unit(hold.unit), lower: shown(hold.lower ?? step.lower), upper: shown(hold.upper ?? step.upper),
    size: hold.fits_size, gauge: capital(hold.gauge_name ?? ""), serving: serving(step) || "\u2013", would_be: shown(hold.would_be),
    status: word("status", hold.why), why: capital(word("served", hold.why)), name: capital(step.name ?? ""), kind: has(`kind.${step.gauge_kind}`) ? t(`kind.${step.gauge_kind}`) : String(step.gauge_kind ?? "").replaceAll("-", " "),
  };
  const exact = `${hold.kind}.${hold.why}`;
  const kind = has(`do.hold.${exact}`) ? exact : hold.kind;
  let how = t(`how.hold.${kind}`, values);
  if (hold.kind === "wrong_gauge" && hold.why === "setting_first") how = t("how.hold.setting_first", { setting: capital(step.name ?? view.settings_due?.[0]?.name ?? "") });
  else if (hold.kind === "wrong_gauge" && !serving(step)) how = t("how.hold.no_gauge_asked");   // a plug, a pin, a look
  else if (hold.kind === "wrong_gauge" && hold.why) how = `${values.why}. ${how}`;
  return { balloon: step.balloon, title: t(`do.hold.${kind}`, values), how, held: true };
}

function for_resumed(view, now) {
  const last = view.last ?? {};
  const values = { balloon: last.balloon, serial: last.serial, value: padded(last.value, last.decimals), unit: unit(last.unit), time: last.utc ? day_time(last.utc, now) : "",
                   answer: last.value === "not_good" ? t("detail.answer_not_good") : t("detail.answer_good") };
  const answered = !last.unit;
  return { balloon: last.balloon, title: t(answered ? "do.resumed_plain" : "do.resumed", values), how: t("how.resumed", values) };
}

/// {title, how, balloon, caution, held}
export function sentence(view, now) {
  switch (view.state) {
    case "hold": case "hard_hold": return for_hold(view);
    case "resumed": return for_resumed(view, now);
    case "between_parts":
      return { title: view.last?.serial ? t("do.between", { serial: view.last.serial }) : t("do.between_plain"), how: t(view.sure_to_end ? "how.sure_to_end" : "how.between"), caution: [t("caution.release")] };
    case "done": return { title: t("do.done"), how: t("how.done"), caution: [t("caution.release")] };
    case "idle": {
      // What is under way at a master comes first, then what is due.
      const due = view.settings_due ?? [];
      const first = due.find((each) => each.phase === "as_left") ?? due.find((each) => each.attempt > 1) ?? due.find((each) => each.point === 2) ?? due[0];
      if (first) return { ...for_setting(first), caution: [t("caution.measure")] };
      return { title: t(view.parked?.length ? "do.idle_parked" : "do.idle"), how: t("how.idle"), caution: [t("caution.measure"), t("caution.release")] };
    }
    default: return view.step ? for_step(view) : { title: "", how: "" };
  }
}

export function next_sentence(view) {
  const step = view.step, next = view.next;
  if (!view.walk) return { text: "" };
  if (view.state === "hold") return { label: t("next.kept") };
  if (step && step.kind !== "setting" && step.attempt > 1) return { label: t("next.same") };
  if (!next) return { label: view.state === "step" || view.state === "capture" ? t("next.none") : "" };
  const name = next.place ? t("next.place", { name: next.name, place: next.place }) : next.name;
  const where = next.slot != null && next.serial !== view.walk.serial ? t("next.slot", { slot: next.slot, serial: next.serial }) : "";
  return { label: t("next"), name, balloon: next.balloon, gauge: next.gauge_name, where };
}
