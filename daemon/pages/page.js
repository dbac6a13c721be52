// What the pages that are read sitting down have in common: the shop's settings, words, theme, and the choice of language.
import { languages, load_words, t, turn_language } from "./words.js";
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
  return page;
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
