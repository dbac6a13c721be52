// What is wrong and stays until a person clears it, each with its place, finding and remedy. Where the configuration cannot be
// served, every fault of it.
import { day_time, t } from "./words.js";
import { ask, say, start_page } from "./page.js";
import { people } from "./shop.js";
import { fill, find, make } from "./dom.js";

await start_page();
document.title = t("faults.title");

const warning = (each) => (each.warning || each.severity === "warning" ? "warning" : "");
const said = (each) => [each.where ? make("code", {}, each.where) : "", make("div", {}, each.what), each.hint ? make("div", { class: "remedy" }, each.hint) : ""];

/// Only the configuration's faults: this daemon serves nothing else.
function show_faults(faults) {
  find("page-lead").textContent = t(faults.length ? "faults.lead" : "faults.none");
  find("page-list").append(...faults.map((fault) => make("li", { class: warning(fault) }, ...said(fault))));
}

function notice_row(each, now) {
  const times = [each.standing ? t("faults.standing", { time: day_time(each.last_utc, now) }) : t("faults.over", { time: day_time(each.last_utc, now) }), each.count > 1 ? t("faults.count", { count: each.count, time: day_time(each.first_utc, now) }) : ""].filter(Boolean).join(" \u00b7 ");
  return make("li", { class: warning(each), "data-notice": each.id, "data-code": each.code }, ...said(each), make("div", { class: "soft" }, times),
    each.cleared_by ? make("div", { class: "soft" }, t("faults.cleared_by", { person: each.cleared_by, time: day_time(each.cleared_utc, now) })) : make("button", { type: "button", "data-clear": each.id }, t("faults.clear")));
}

async function show_notices() {
  const notices = await ask("/api/v1/notices");
  const now = Date.now(), kept = document.activeElement?.dataset?.clear;
  const [open, cleared] = [notices.filter((each) => !each.cleared_by), notices.filter((each) => each.cleared_by)];
  find("page-lead").textContent = t(open.length ? "faults.lead" : "faults.nothing");
  fill(find("page-list"), ...open.map((each) => notice_row(each, now)));
  find("page-who").hidden = !open.length;
  find("page-cleared").hidden = !cleared.length;
  fill(find("page-cleared-list"), ...cleared.map((each) => notice_row(each, now)));
  if (kept) document.querySelector(`[data-clear="${kept}"]`)?.focus();
}

async function clear(id) {
  const name = find("page-person");
  if (!name.value.trim()) {
    say(find("page-say"), t("faults.name_first"), true);
    return name.focus();
  }
  await ask(`/api/v1/notices/${id}/clear`, { person: name.value.trim() }, "clear");
  say(find("page-say"), t("faults.was_cleared"));
  await show_notices();
}

// The first start, and a configuration that cannot be served, know no notices.
const routes = await ask("/api/v1/routes");
if (!routes.some((each) => each.path === "/api/v1/notices")) {
  show_faults(await ask("/api/v1/faults"));
  document.body.dataset.ready = "1";
} else {
  find("page-names").append(...people().map((each) => make("option", { value: each.name })));
  document.addEventListener("click", (event) => {
    const id = event.target.closest("button")?.dataset.clear;
    if (id) clear(id).catch((fault) => say(find("page-say"), fault.message, true));
  });
  for (;;) {
    try {
      await show_notices();
      if (find("page-say").dataset.gone) { say(find("page-say"), ""); delete find("page-say").dataset.gone; }
    } catch (fault) {
      find("page-say").dataset.gone = "1";
      say(find("page-say"), fault.message, true);
    }
    document.body.dataset.ready = "1";
    await new Promise((later) => setTimeout(later, 2000));
  }
}
