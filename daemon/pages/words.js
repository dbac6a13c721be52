// The words that people read: one file a language. Everything else on the pages is free of language.
let words = {};
let mark = ".";

export const languages = ["en", "de", "es"];

/// The shop's language and decimal mark, unless this browser was set to another language, or the address names one.
export async function load_words(language, decimal_mark) {
  const query = new URLSearchParams(location.search);
  mark = [query.get("mark"), decimal_mark].find((each) => each === "." || each === ",") ?? ".";
  const wanted = [query.get("language"), localStorage.getItem("language"), language].find((each) => languages.includes(each)) ?? "en";
  words = await (await fetch(`/pages/${wanted}.json`)).json();
  document.documentElement.lang = wanted;
  fill_words(document);
}

/// This browser's own language from now on.
export async function turn_language(language) {
  localStorage.setItem("language", language);
  words = await (await fetch(`/pages/${language}.json`)).json();
  document.documentElement.lang = language;
  fill_words(document);
}

/// What stands in the HTML itself: data-text="key" is filled, data-label="key" becomes the name that is read aloud.
export function fill_words(root) {
  for (const element of root.querySelectorAll("[data-text]")) element.textContent = t(element.dataset.text);
  for (const element of root.querySelectorAll("[data-label]")) element.setAttribute("aria-label", t(element.dataset.label));
}

export function has(key) { return words[key] !== undefined; }

export function t(key, values = {}) {
  const text = words[key];
  if (text === undefined) return key;
  return text.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? "");
}

/// A word of the daemon's, put into the person's language where we have it.
export function word(group, code, values) {
  if (!code) return "";
  return has(`${group}.${code}`) ? t(`${group}.${code}`, values) : String(code).replaceAll("_", " ");
}

/// Exact decimal text with the shop's decimal mark. Never rounded, never through a binary number.
export function shown(value) { return value == null ? "" : String(value).replace(".", mark).replace(/^-/, "\u2212"); }
/// The same with zeros up to the feature's decimals ("25.01" as 25.010): a digit more is never cut off.
export function padded(value, decimals) {
  if (value == null || !/^-?\d+(\.\d+)?$/.test(value)) return shown(value);
  const [whole, part = ""] = String(value).split(".");
  return shown(decimals > 0 ? `${whole}.${part.padEnd(decimals, "0")}` : String(value));
}
/// What a person typed, as the daemon wants it.
export function plain(text) { return text.trim().replace("\u2212", "-").replace(mark, "."); }

const micro = { um: "\u00b5m", uin: "\u00b5in", deg: "\u00b0", degC: "\u00b0C", degF: "\u00b0F" };
export function unit(name) { return name ? (micro[name] ?? name) : ""; }

const two = (number) => String(number).padStart(2, "0");
export function clock_time(utc) {
  const time = new Date(utc);
  return `${two(time.getHours())}:${two(time.getMinutes())}:${two(time.getSeconds())}`;
}
/// "14:52", "yesterday 14:52", or with the date.
export function day_time(utc, now) {
  const time = new Date(utc), today = new Date(now);
  const text = `${two(time.getHours())}:${two(time.getMinutes())}`;
  const day = (date) => Math.round(new Date(date.getFullYear(), date.getMonth(), date.getDate()).getTime() / 86400000);
  const days = day(today) - day(time);
  if (days === 0) return text;
  if (days === -1) return t("time.tomorrow", { time: text });
  if (days === 1) return t("time.yesterday", { time: text });
  return `${time.getFullYear()}-${two(time.getMonth() + 1)}-${two(time.getDate())} ${text}`;
}
export function ago(utc, now) {
  const seconds = Math.max(0, Math.round((now - new Date(utc)) / 1000));
  if (seconds < 5) return t("time.now");
  if (seconds < 60) return t("time.seconds", { count: Math.floor(seconds / 5) * 5 });
  if (seconds < 5400) return t("time.minutes", { count: Math.round(seconds / 60) });
  if (seconds < 129600) return t("time.hours", { count: Math.round(seconds / 3600) });
  return t("time.days", { count: Math.round(seconds / 86400) });
}
export function age(milliseconds) {
  const seconds = Math.max(0, Math.round(milliseconds / 1000));
  if (seconds < 90) return t("age.seconds", { count: seconds });
  if (seconds < 5400) return t("age.minutes", { count: Math.round(seconds / 60) });
  return t("age.hours", { count: Math.round(seconds / 3600) });
}
export function capital(text) { return text ? text[0].toUpperCase() + text.slice(1) : text; }
