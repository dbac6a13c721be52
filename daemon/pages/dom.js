// Small helpers to build elements; text always goes in as text.
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value == null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "class") element.className = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child != null && child !== ""));
  return element;
}
const svg_space = "http://www.w3.org/2000/svg";
export function draw(tag, attributes = {}, ...children) {
  const element = document.createElementNS(svg_space, tag);
  for (const [name, value] of Object.entries(attributes)) if (value != null) element.setAttribute(name, value);
  element.append(...children);
  return element;
}
export const find = (id) => document.getElementById(id);
/// Puts the children in only where they differ, so that nothing that a person points at is replaced under the finger.
export function fill(element, ...children) {
  const fresh = make("div", {}, ...children);
  if (fresh.innerHTML !== element.dataset.filled) {
    element.dataset.filled = fresh.innerHTML;
    element.replaceChildren(...fresh.childNodes);
  }
}
