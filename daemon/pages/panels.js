// What comes up over the page for a moment: a list to choose from, or a form. Digits choose, Escape closes; on a pedal
// good takes what is marked, again goes on to the next, not good closes.
import { make } from "./dom.js";
import { t } from "./words.js";

let open = null;

export const panel_open = () => open !== null;

/// Anything over the page, under a title.
export function show_panel(title, content, name) {
  close_panel();
  const dialog = make("dialog", { class: "panel", "aria-label": title }, make("h2", {}, title), content);
  document.body.append(dialog);
  dialog.addEventListener("close", () => {
    dialog.remove();
    if (open?.dialog === dialog) open = null;
  });
  dialog.showModal();
  open = { dialog, name };
  return dialog;
}

/// Closes what is open; with a name only where that is it.
export function close_panel(name) {
  if (!name || typeof name !== "string" || open?.name === name) open?.dialog.close();
}

/// items: [{label, sub, act}]; `act` is called after the list has closed.
export function choose(title, items, name) {
  const list = make("ol");
  items.forEach((item, index) => list.append(make("li", {}, make("button", { type: "button", onclick: () => { close_panel(); item.act(); } },
    index < 10 ? make("kbd", {}, String((index + 1) % 10)) : null, make("span", {}, item.label, item.sub ? make("small", { class: "soft" }, ` ${item.sub}`) : null)))));
  const row = make("div", { class: "row" }, make("button", { type: "button", onclick: close_panel }, t("menu.close")));
  show_panel(title, make("div", {}, list, row), name);
  open.buttons = [...list.querySelectorAll("button")];
}

/// fields: [{name, label, kind: "text"|"choice"|"number"|"checks"|"note", options: [[value, label]], other, value, wide,
/// required, changed}]. `send(values)` gives the fault as text, or nothing when it is done.
export function ask(title, fields, send, button = t("menu.send")) {
  const form = make("form", { novalidate: true });
  const inputs = new Map();
  for (const field of fields) {
    if (field.kind === "note") { form.append(make("p", { class: "soft wide" }, field.label)); continue; }
    const label = make("label", { class: field.wide ? "wide" : "" }, field.label);
    let input;
    if (field.kind === "choice") {
      input = make("select", { name: field.name });
      fill_options(input, field);
      label.append(input);
      if (field.other) {
        const other = make("input", { name: `${field.name}_other`, autocomplete: "off", "aria-label": field.other, placeholder: field.other });
        const turn = () => { other.hidden = input.value !== "\u0000"; };
        input.addEventListener("change", () => { turn(); if (!other.hidden) other.focus(); });
        turn();
        label.append(other);
        input.other = other;
      }
    } else if (field.kind === "checks") {
      input = make("div", { role: "group" });
      for (const [value, text] of field.options) input.append(make("label", { class: "check" }, make("input", { type: "checkbox", value }), make("span", {}, text)));
      label.append(input);
    } else {
      input = make("input", { name: field.name, autocomplete: "off", value: field.value ?? "", inputmode: field.kind === "number" ? "numeric" : field.mode });
      label.append(input);
    }
    if (field.changed) input.addEventListener("change", () => field.changed(inputs, form));
    if (field.id) label.id = field.id;
    inputs.set(field.name, input);
    form.append(label);
  }
  const fault = make("p", { class: "fault", tabindex: -1, hidden: true });
  const submit = make("button", { class: "main-button", type: "submit" }, button);
  form.append(fault, make("div", { class: "row" }, make("button", { type: "button", onclick: close_panel }, t("menu.close")), submit));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    submit.disabled = true;
    const said = await send(values_of(inputs));
    submit.disabled = false;
    fault.textContent = said ?? "";
    fault.hidden = !said;
    if (said) fault.focus();  // and so it is read aloud
    if (!said) close_panel();
  });
  show_panel(title, form);
  open.inputs = inputs;
  return inputs;
}

export function fill_options(select, field) {
  select.replaceChildren(...field.options.map(([value, text]) => make("option", { value, selected: value === field.value }, text)));
  if (field.other) select.append(make("option", { value: "\u0000", selected: field.options.length === 0 }, field.other));
}

function values_of(inputs) {
  const values = {};
  for (const [name, input] of inputs) {
    if (input.tagName === "DIV") values[name] = [...input.querySelectorAll("input:checked")].map((box) => box.value);
    else if (input.hidden || input.closest("label").hidden) values[name] = "";
    else values[name] = input.value === "\u0000" ? input.other.value.trim() : input.value.trim();
  }
  return values;
}

/// Keys while something is open; false where nothing is.
export function panel_key(name) {
  if (!open) return false;
  const buttons = open.buttons;
  if (buttons && name >= "0" && name <= "9") buttons[(Number(name) + 9) % 10]?.click();
  else if (name === "not_good" || name === "menu") close_panel();
  else if (buttons && name === "again") buttons[(buttons.indexOf(document.activeElement) + 1) % buttons.length].focus();
  else if (buttons && name === "good") (buttons.includes(document.activeElement) ? document.activeElement : buttons[0]).click();
  return true;
}
