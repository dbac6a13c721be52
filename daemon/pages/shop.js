// What the pages know of the shop besides the bench's view: names of benches, people, masters and tools; the shop's lists.
import { t } from "./words.js";

let page = {};
let lists = { run_changes: [], tools: [], retake_reasons: [], pass_reasons: [] };

const get = async (path) => {
  const response = await fetch(path);
  return response.ok ? response.json() : null;
};

export async function load_shop() {
  page = (await get("/api/v1/page")) ?? {};
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
export const bench_name = (id) => page.benches?.[id] ?? t("bench", { bench: spaced(id).replace(/^bench /, "") });
export const tool_name = (id) => page.tools?.[id] ?? spaced(id);
/// With its size, so that the person finds the right one.
export function master_name(id, size) { return page.masters?.[id] ?? [spaced(id), size].filter(Boolean).join(", "); }
