// The list of benches.
import { load_words, t } from "./words.js";
import { load_shop, bench_name } from "./shop.js";
import { find, make } from "./dom.js";

const page = await load_shop();
await load_words(page.language, page.decimal_mark);
if (page.theme === "light" || page.theme === "dark") document.documentElement.dataset.theme = page.theme;
document.title = t("benches.title");
find("page-shop").textContent = page.shop || t("benches.title");
find("page-note").textContent = t("benches.note");
const benches = await (await fetch("/api/v1/benches")).json();
find("page-benches").append(...benches.map((each) => make("li", {}, make("a", { href: `/bench/${encodeURIComponent(each.bench)}` }, make("b", {}, bench_name(each.bench)),
  make("span", { class: "soft" }, [each.walk ? `${each.walk.size}, ${t("head.lot", { lot: each.walk.lot_name })}` : t("benches.idle"), each.person].filter(Boolean).join(" \u00b7 "))))));
if (!benches.length) find("page-benches").append(make("li", {}, t("benches.none")));
const faults = await (await fetch("/api/v1/faults")).json();
if (faults.length) {
  find("page-faults").hidden = false;
  find("page-faults").append(make("a", { href: "/faults" }, t("benches.faults")));
}
