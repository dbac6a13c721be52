// The list of benches.
import { t } from "./words.js";
import { start_page } from "./page.js";
import { bench_name } from "./shop.js";
import { find, make } from "./dom.js";

const page = await start_page();
document.title = t("benches.title");
find("page-shop").textContent = page.shop || t("benches.title");
const benches = await (await fetch("/api/v1/benches")).json();
find("page-benches").append(...benches.map((each) => make("li", {}, make("a", { href: `/bench/${encodeURIComponent(each.bench)}` }, make("b", {}, bench_name(each.bench)),
  make("span", { class: "soft" }, [each.walk ? `${each.walk.size}, ${t("head.lot", { lot: each.walk.lot_name })}` : t("benches.idle"), each.person].filter(Boolean).join(" \u00b7 "))))));
if (!benches.length) find("page-benches").append(make("li", {}, t("benches.none")));
const faults = await (await fetch("/api/v1/faults")).json();
if (faults.length) {
  find("page-faults").hidden = false;
  find("page-faults").append(make("a", { href: "/faults" }, t("benches.faults")));
}
