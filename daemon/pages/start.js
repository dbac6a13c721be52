// How a walk starts: part number and size, lot, stage, name; chosen or scanned.
import { t } from "./words.js";
import { ask, fill_options } from "./panels.js";
import { person_field, refusal } from "./menu.js";
import { editions, lots } from "./shop.js";

const stages = ["setup", "first part", "in process", "last part", "final", "after finish"];
const fresh = "\u0001new";

/// The newest published edition of each size at each print revision.
function sizes_of(all) {
  const newest = new Map();
  for (const each of all) {
    if (each.withdrawn) continue;
    const key = `${each.family}/${each.size}/${each.print_revision}`;
    if ((newest.get(key)?.number ?? -1) < (each.number ?? 0)) newest.set(key, each);
  }
  return new Map([...newest].sort(([a], [b]) => a.localeCompare(b, undefined, { numeric: true })));
}

const size_text = (each) => [each.size, each.part_number, t("head.print", { print: each.print_revision })].filter(Boolean).join(" \u00b7 ");

/// Opens the form; `scanned` is a code that was read before it was open.
export async function open_start(link, view, scanned) {
  const sizes = sizes_of(await editions()), open_lots = await lots();
  if (!sizes.size) return ask(t("start.new"), [{ kind: "note", label: t("form.none_published") }], async () => null, t("menu.close"));
  const lots_of = (key) => open_lots.filter((lot) => `${lot.family}/${lot.size}/${lot.print_revision}` === key);
  const lot_options = (key) => [...lots_of(key).map((lot) => [lot.key, `${lot.lot_name} \u00b7 ${lot.first ?? 1}\u2013${lot.last ?? 1}`]), [fresh, t("form.lot_new")]];
  let first_key = [...sizes.keys()][0];
  const last_lot = open_lots.at(-1);
  if (last_lot && sizes.has(`${last_lot.family}/${last_lot.size}/${last_lot.print_revision}`)) first_key = `${last_lot.family}/${last_lot.size}/${last_lot.print_revision}`;
  const new_only = ["lot_name", "heat", "machine", "program"];

  const turn = (inputs) => {
    const is_new = inputs.get("lot").value === fresh;
    for (const name of new_only) inputs.get(name).closest("label").hidden = !is_new;
    const lot = open_lots.find((each) => each.key === inputs.get("lot").value);
    if (lot) {
      inputs.get("first").value = lot.first ?? 1;
      inputs.get("last").value = lot.last ?? 1;
    }
    inputs.get("stage").value = is_new || lot?.need ? "first part" : "in process";
  };
  const turn_size = (inputs) => {
    const options = lot_options(inputs.get("size").value);
    fill_options(inputs.get("lot"), { options, value: options[0][0] });
    turn(inputs);
  };
  const inputs = ask(t("start.new"), [
    { kind: "note", label: t("form.scan") },
    { name: "size", label: t("form.part_number"), kind: "choice", value: first_key, wide: true, options: [...sizes].map(([key, each]) => [key, size_text(each)]), changed: turn_size },
    { name: "lot", label: t("form.lot"), kind: "choice", options: lot_options(first_key), changed: turn },
    { name: "lot_name", label: t("form.lot_name") },
    { name: "first", label: t("form.first"), kind: "number", value: "1" },
    { name: "last", label: t("form.last"), kind: "number", value: "1" },
    { name: "heat", label: t("form.heat") }, { name: "machine", label: t("form.machine") }, { name: "program", label: t("form.program") },
    { name: "stage", label: t("form.stage"), kind: "choice", options: stages.map((stage) => [stage, t(`stage.${stage}`)]) },
    person_field("person", t("form.person"), view.person),
    { kind: "note", label: `${t("caution.measure")} ${t("caution.release")}` },
  ], (values) => begin(link, view, values, sizes), t("form.begin"));
  turn_size(inputs);
  if (scanned) take_scan(inputs, scanned, sizes, open_lots);
  scan_into = (text, field) => take_scan(inputs, text, sizes, open_lots, field);
  return inputs;
}

let scan_into = null;
/// A code that was scanned while the form is open.
export function scan_start(text, field) { scan_into?.(text, field); }

function take_scan(inputs, text, sizes, open_lots, field) {
  const set = (name, value) => {
    inputs.get(name).value = value;
    inputs.get(name).dispatchEvent(new Event("change"));
  };
  const same = (a, b) => String(a ?? "").toLowerCase() === b.toLowerCase();
  const size = [...sizes].find(([, each]) => same(each.part_number, text) || same(each.size, text));
  const lot = open_lots.find((each) => same(each.lot_name, text));
  // A scanner types into the field that has the focus: what fits elsewhere is taken out of it again.
  if (field && (size || lot) && field.tagName === "INPUT" && field.value.endsWith(text)) field.value = field.value.slice(0, -text.length);
  if (size) return set("size", size[0]);
  if (lot) {
    set("size", `${lot.family}/${lot.size}/${lot.print_revision}`);
    return set("lot", lot.key);
  }
  if (field && field.tagName === "INPUT") return;  // it stands there already
  const empty = ["lot_name", "heat", "machine", "program"].find((name) => !inputs.get(name).closest("label").hidden && !inputs.get(name).value);
  if (empty) inputs.get(empty).value = text;
}

async function begin(link, view, values, sizes) {
  const size = sizes.get(values.size);
  if ((values.person ?? "") !== (view.person ?? "")) {
    const stated = await link.send("state_person", { person: values.person }, false);
    if (!stated.ok) return refusal(stated);
  }
  const first = Number(values.first), last = Number(values.last);
  let lot = values.lot;
  if (lot === fresh) {
    const body = { lot_name: values.lot_name, family: size.family, size: size.size, print_revision: size.print_revision, first, last };
    for (const name of ["heat", "machine", "program"]) if (values[name]) body[name] = values[name];
    const opened = await link.send("open_lot", body, false);
    if (!opened.ok) return refusal(opened);
    lot = opened.answer.lot;
  }
  const begun = await link.send("begin_walk", { lot, stage: values.stage, first, last }, false);
  return begun.ok ? null : refusal(begun);
}
