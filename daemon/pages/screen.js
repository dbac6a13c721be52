// How large this screen's pixels are: set once against a card of known size, kept in this browser. The style sheets count
// in `--mm`, so that a target of 20 mm is one, and what must be read at two metres can be.
import { make } from "./dom.js";
import { t, shown } from "./words.js";
import { close_panel, show_panel } from "./panels.js";

// ISO/IEC 7810, format ID-1, in mm.
const card = { long: 85.60, short: 53.98 };
const usual = 96 / 25.4;  // CSS: 96 pixels to the inch
const key = "device_pixels_per_mm";  // of the screen itself, so that the browser's zoom changes nothing

export function pixels_per_mm() {
  const kept = Number(localStorage.getItem(key)) / devicePixelRatio;
  return kept >= .5 && kept <= 60 ? kept : usual;
}

export function set_screen() {
  document.documentElement.style.setProperty("--mm", `${pixels_per_mm()}px`);
}

/// Opens the frame that a card is held against.
export function ask_screen() {
  let size = pixels_per_mm();
  // Upright where the window is narrower than the card is long.
  const upright = innerWidth < 1.25 * card.long * usual;
  const frame = make("div", { class: "card" });
  const draw = () => {
    frame.style.width = `${(upright ? card.short : card.long) * size}px`;
    frame.style.height = `${(upright ? card.long : card.short) * size}px`;
    slide.value = size;
  };
  const set = (wanted) => { size = Math.min(Math.max(wanted, 1.5), 16); draw(); };
  const slide = make("input", { type: "range", min: 1.5, max: 16, step: .01, "aria-label": t("screen.size"), oninput: () => set(Number(slide.value)) });
  const button = (text, act, name = "") => make("button", { type: "button", class: name, onclick: act }, text);
  const keep = () => {
    localStorage.setItem(key, size * devicePixelRatio);
    set_screen();
    close_panel();
  };
  show_panel(t("menu.screen"), make("div", { class: "screen-size" },
    make("p", {}, t("screen.how", { long: shown("85.60"), short: shown("53.98") })), frame, slide,
    make("div", { class: "row" }, button(t("screen.smaller"), () => set(size / 1.01)), button(t("screen.larger"), () => set(size * 1.01)),
      button(t("menu.close"), close_panel), button(t("screen.fits"), keep, "main-button"))));
  draw();
}
