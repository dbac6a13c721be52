// Every fault of the configuration, with its place, finding and remedy.
import { t } from "./words.js";
import { start_page } from "./page.js";
import { find, make } from "./dom.js";

await start_page();
document.title = t("faults.title");
const faults = await (await fetch("/api/v1/faults")).json();
find("page-lead").textContent = t(faults.length ? "faults.lead" : "faults.none");
find("page-list").append(...faults.map((fault) => make("li", { class: fault.warning || fault.severity === "warning" ? "warning" : "" },
  fault.where ? make("code", {}, fault.where) : "", make("div", {}, fault.what), fault.hint ? make("div", { class: "remedy" }, fault.hint) : "")));
