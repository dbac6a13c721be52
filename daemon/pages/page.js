// What the pages that are read sitting down have in common: the shop's settings, words, theme, and the choice of language.
import { languages, load_words, t, turn_language, has } from "./words.js";
import { load_shop } from "./shop.js";
import { find, make } from "./dom.js";

export function set_theme(page) {
  const theme = new URLSearchParams(location.search).get("theme") ?? localStorage.getItem("theme") ?? page.theme;
  if (theme === "light" || theme === "dark") document.documentElement.dataset.theme = theme;
}

/// -> /api/v1/page. Fills `data-text` and `data-label`, and puts the choice of language into `#page-foot`, where there is one.
export async function start_page() {
  const page = await load_shop();
  set_theme(page);
  await load_words(page.language, page.decimal_mark);
  find("page-foot")?.append(language_choice());
  find("page-menu")?.append(...menu_of_pages());
  return page;
}

const pages = [["/", "page.benches"], ["/gauges", "page.gauges"], ["/records", "page.records"], ["/suspects", "page.suspects"], ["/checklists", "page.checklists"], ["/faults", "page.faults"]];
function menu_of_pages() {
  return pages.map(([path, name]) => make("a", { href: path, "aria-current": path === location.pathname ? "page" : null }, t(name)));
}

/// -> JSON. A refusal of the daemon is thrown as an Error in the person's words; `kind`: of what was asked, for words of its own.
export async function ask(path, body, kind = "") {
  const wanted = body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  const response = await fetch(path, { cache: "no-store", ...wanted }).catch(() => null);
  if (!response) throw new Error(t("problem.no_connection"));
  const answer = await response.json().catch(() => ({}));
  if (response.ok) return answer;
  const key = [`problem.${answer.code}.${kind}`, `problem.${answer.code}`].find(has);
  throw new Error(key ? t(key, answer) : [answer.where, answer.detail, answer.remedy].filter(Boolean).join(". "));
}

/// Says a fault, or that something was done, where the page has a place for it.
export function say(element, text, fault = false) {
  element.textContent = text;
  element.classList.toggle("fault", fault);
  element.hidden = !text;
}

/// Every text of a page is made when it is loaded; so it is loaded anew.
function language_choice() {
  const change = async (event) => {
    await turn_language(event.target.value);
    location.reload();
  };
  return make("label", { class: "language" }, t("label.language"), " ",
    make("select", { onchange: change }, ...languages.map((each) => make("option", { value: each, lang: each, selected: each === document.documentElement.lang }, t(`language.${each}`)))));
}
