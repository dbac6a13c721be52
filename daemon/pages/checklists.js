// The checklists: what the configuration works out now, the editions published, what changed between two of them, and a dry
// run with typed values that leaves nothing in the record.
import { t } from "./words.js";
import { ask, say, start_page } from "./page.js";
import { people } from "./shop.js";
import { find, make } from "./dom.js";
import { show_comparison } from "./comparison.js";
import { offer_dry_run } from "./dry_run.js";

const page = await start_page();
document.title = t("checklists.title");

const cell = (name, content, kind) => make("td", { "data-name": t(`checklists.${name}`), class: kind ?? null }, content);
const table = (names, rows) => make("table", {}, make("thead", {}, make("tr", {}, ...names.map((name) => make("th", { scope: "col" }, t(`checklists.${name}`))))), make("tbody", {}, ...rows));
const told = (action) => async (event) => {
  event?.preventDefault();
  try {
    say(find("page-say"), "");
    await action(event);
  } catch (fault) {
    say(find("page-say"), fault.message, true);
    find("page-say").scrollIntoView({ block: "center" });
  }
};

let editions = [], worked = [];
const named = (each) => `${each.size} ${each.print_revision}`;
/// Every edition that can be compared or tried: those worked out now, then those published, the newest first.
function choices() {
  return [...worked.map((each) => [each.name, `${named(each)}, ${t("checklists.now")}`]),
    ...editions.toSorted((a, b) => b.number - a.number).map((each) => [each.sha, `${named(each)}, ${t("checklists.edition", { number: each.number })}${each.withdrawn ? `, ${t("checklists.withdrawn")}` : ""}`])];
}
const chosen = (name, label, value, onchange) => make("label", {}, t(label), make("select", { name, onchange }, ...choices().map(([key, text]) => make("option", { value: key, selected: key === value }, text))));

function show_worked() {
  const row = (each) => make("tr", { "data-name": each.name }, cell("size", make("b", {}, each.size)), cell("print", each.print_revision), cell("part_number", each.part_number),
    cell("state", make("span", { class: each.state === "unchanged" ? "soft" : "fault" }, t(`checklists.state.${each.state}`), each.state === "changed" ? `: ${each.differences}` : "")),
    cell("published", each.published_number ? t("checklists.edition", { number: each.published_number }) : ""),
    cell("look", make("span", { class: "row" }, each.state === "changed" ? make("button", { type: "button", onclick: told(() => compare(each.published, each.name)) }, t("checklists.compare")) : "",
      make("button", { type: "button", onclick: told(() => dry(each.name)) }, t("checklists.dry_run")))));
  const families = [...new Set(worked.map((each) => each.family))];
  const open = worked.filter((each) => each.state !== "unchanged");
  const publish = (family) => make("form", { class: "row", onsubmit: told(async (event) => {
    const wanted = new FormData(event.target);
    await ask("/api/v1/commands", { kind: "publish", family, person: wanted.get("person"), reason: wanted.get("reason"), idempotency_key: crypto.randomUUID() }, "publish");
    await load();
    say(find("page-say"), t("checklists.was_published"));
  }) }, make("label", {}, t("form.person"), make("input", { name: "person", required: true, list: "page-people", autocomplete: "off" })),
    make("label", {}, t("form.reason"), make("select", { name: "reason" }, ...(page.reasons?.publish ?? []).map((each) => make("option", {}, each)))),
    make("button", { class: "main-button" }, t("checklists.publish", { count: open.filter((each) => each.family === family).length })));
  find("page-worked").replaceChildren(make("h2", {}, t("checklists.worked")), make("p", { class: "soft" }, t("checklists.worked_lead")),
    worked.length ? table(["size", "print", "part_number", "state", "published", "look"], worked.map(row)) : make("p", {}, t("checklists.none")),
    make("datalist", { id: "page-people" }, ...people().map((each) => make("option", { value: each.name }))),
    ...families.filter((family) => open.some((each) => each.family === family)).map(publish));
}

function show_published() {
  const row = (each) => make("tr", { "data-sha": each.sha }, cell("size", make("b", {}, each.size)), cell("print", each.print_revision), cell("number", each.number), cell("part_number", each.part_number),
    cell("state", each.withdrawn ? t("checklists.withdrawn") : t("checklists.in_use")), cell("sha", make("code", {}, each.sha.slice(0, 16))),
    cell("look", make("button", { type: "button", onclick: told(() => dry(each.sha)) }, t("checklists.dry_run"))));
  find("page-published").replaceChildren(make("h2", {}, t("checklists.editions")),
    editions.length ? table(["size", "print", "number", "part_number", "state", "sha", "look"], editions.map(row)) : make("p", {}, t("checklists.none")));
}

async function compare(before, after) {
  const place = find("page-compare");
  const form = make("form", { class: "row", onsubmit: told((event) => compare(event.target.before.value, event.target.after.value)) },
    chosen("before", "checklists.before", before), chosen("after", "checklists.after", after), make("button", { class: "main-button" }, t("checklists.compare")));
  place.replaceChildren(make("h2", {}, t("checklists.changed")), choices().length > 1 ? form : make("p", {}, t("checklists.none")));
  if (!before || !after) return;
  show_comparison(place, await ask(`/api/v1/checklists/compare?${new URLSearchParams({ before, after })}`));
  place.scrollIntoView();
}

async function edition_of(name) {
  if (/^[0-9a-f]{64}$/.test(name)) return ask(`/api/v1/checklists/${name}`);
  return (await ask(`/api/v1/checklists/worked-out/${name.split("/").map(encodeURIComponent).join("/")}`));
}

async function dry(name) {
  const place = find("page-dry");
  place.replaceChildren(make("h2", {}, t("checklists.dry_run")), make("p", { class: "soft" }, t("checklists.dry_lead")));
  if (!name) return;
  offer_dry_run(place, name, await edition_of(name), told);
  place.scrollIntoView();
}

async function load() {
  [editions, worked] = await Promise.all([ask("/api/v1/checklists"), ask("/api/v1/checklists/worked-out")]);
  show_worked();
  show_published();
  const changed = worked.find((each) => each.state === "changed");
  await compare(changed?.published, changed?.name);
  await dry();
  scrollTo(0, 0);
}

await told(load)();
document.body.dataset.ready = "1";
