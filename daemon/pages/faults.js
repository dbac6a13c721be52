// Every fault of the configuration, with its place, finding and remedy.
import { load_words, t } from "./words.js";
import { load_shop } from "./shop.js";
import { find, make } from "./dom.js";

const page = await load_shop();
await load_words(page.language, page.decimal_mark);
document.title = find("page-title").textContent = t("faults.title");
find("page-back").textContent = t("faults.back");
const faults = await (await fetch("/api/v1/faults")).json();
find("page-lead").textContent = t(faults.length ? "faults.lead" : "faults.none");
find("page-list").append(...faults.map((fault) => make("li", { class: fault.warning || fault.severity === "warning" ? "warning" : "" },
  fault.where ? make("code", {}, fault.where) : "", make("div", {}, fault.what), fault.hint ? make("div", { class: "remedy" }, fault.hint) : "")));
