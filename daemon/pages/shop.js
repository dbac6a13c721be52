// What the pages know of the shop besides the bench's view: names of benches, people, masters and tools; the shop's lists.
import { t } from "./words.js";
import { make } from "./dom.js";

let page = {};
let lists = { run_changes: [], tools: [], retake_reasons: [], pass_reasons: [] };

const get = async (path) => {
  const response = await fetch(path);
  return response.ok ? response.json() : null;
};

export async function load_shop() {
  page = (await get("/api/v1/page")) ?? {};
  if (page.safe) document.body.prepend(make("div", { class: "safe", role: "alert", "data-text": "safe.note" }));
  return page;
}
export async function load_lists() {
  lists = { ...lists, ...((await get("/api/v1/words")) ?? {}) };
  return lists;
}
export const lots = async () => (await get("/api/v1/lots")) ?? [];
export const editions = async () => (await get("/api/v1/checklists")) ?? [];
export const edition = (sha) => get(`/api/v1/checklists/${sha}`);

const spaced = (id) => String(id ?? "").replaceAll("-", " ");
export const people = () => page.people ?? [];
const named = (list, id) => (list ?? []).find((each) => each.id === id)?.name;
export const bench_name = (id) => named(page.benches, id) || t("bench", { bench: spaced(id).replace(/^bench /, "") });
export const tool_name = (id) => named(page.tools, id) || spaced(id);
export const change_name = (change) => (page.run_changes ?? []).find((each) => each.change === change)?.name || spaced(change).replaceAll("_", " ");
/// With its size, so that the person finds the right one.
export function master_name(id, size) { return named(page.masters, id) || [spaced(id), size].filter(Boolean).join(", "); }
