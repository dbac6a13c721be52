// What changed between two editions, feature by feature and field by field.
import { t, word } from "./words.js";
import { make } from "./dom.js";

export function show_comparison(place, { before, after, differences }) {
  const name = (each) => `${each.size} ${each.print_revision}${each.number ? `, ${t("checklists.edition", { number: each.number })}` : `, ${t("checklists.now")}`}`;
  place.append(make("p", { role: "status", id: "page-differences" }, t(differences.length ? "checklists.differences" : "checklists.same", { before: name(before), after: name(after), count: differences.length })));
  if (!differences.length) return;
  const row = (each) => make("tr", { "data-feature": each.feature, "data-member": each.member }, make("td", { "data-name": t("checklists.feature") }, each.feature || t("checklists.whole")),
    make("td", { "data-name": t("checklists.member") }, word("member", each.member)), make("td", { "data-name": t("checklists.before") }, each.before || "\u2013"), make("td", { "data-name": t("checklists.after") }, make("b", {}, each.after || "\u2013")));
  place.append(make("table", {}, make("thead", {}, make("tr", {}, ...["feature", "member", "before", "after"].map((each) => make("th", { scope: "col" }, t(`checklists.${each}`))))), make("tbody", {}, ...differences.map(row))));
}
