// The first start: which serial lines there are, and the first lines of a configuration, to paste or to have written.
import { t } from "./words.js";
import { start_page } from "./page.js";
import { find, make } from "./dom.js";

await start_page();
document.title = t("setup.title");

let offer = null;
let shown = null;   // what the lines on the page were made of

const post = async (path, body) => {
  const response = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
  return { ok: response.ok, answer: await response.json() };
};
function say(text) {
  find("setup-said").hidden = !text;
  find("setup-said").textContent = text;
}
const fault_lines = (answer) => [answer.detail, answer.where, answer.remedy, ...(answer.faults ?? []).map((each) => `${each.where}: ${each.what} ${each.hint}`)]
  .filter(Boolean).join(" ");

/// An id that a person would choose, from how the adapter names itself.
const id_of = (port, number) => `${port.product || port.driver}`.toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 30) + `-${number}`;

function port_row(port, number) {
  const chosen = make("input", { type: "checkbox", class: "use", checked: port.usb });
  const dialect = make("select", { class: "dialect" }, ...offer.dialects.map((each) => make("option", { value: each.name }, `${each.name}: ${each.about}`)));
  const id = make("input", { class: "id", value: id_of(port, number), pattern: "[a-z0-9\\-]{1,40}", maxlength: 40, autocomplete: "off" });
  const row = make("li", {},
    make("label", { class: "row" }, chosen, make("b", {}, [port.maker, port.product || port.driver].filter(Boolean).join(" ")), make("code", {}, port.path)),
    ...port.warnings.map((each) => make("p", { class: "soft" }, each)),
    make("label", {}, make("span", {}, t("setup.id")), id), make("label", {}, make("span", {}, t("setup.dialect")), dialect));
  row.read = () => (chosen.checked ? { id: id.value, path: port.path, dialect: dialect.value } : null);
  return row;
}

async function look() {
  offer = await (await fetch("/api/v1/setup")).json();
  find("setup-lead").textContent = t("setup.lead", { file: offer.file });
  find("setup-record").hidden = !offer.record_there;
  find("setup-record").textContent = t("setup.record", { folder: offer.data });
  find("setup-ports").replaceChildren(...offer.ports.map((port, at) => port_row(port, at + 1)));
  if (!offer.ports.length) find("setup-ports").append(make("li", {}, t("setup.no_ports")));
  find("setup-way").textContent = t(offer.writable ? "setup.way_write" : "setup.way_paste", { file: offer.file });
  find("setup-write").hidden = !offer.writable;
  forget();
}

/// What was shown must be what is written: a change hides the lines until they are shown anew.
function forget() {
  shown = null;
  find("setup-lines").hidden = true;
  say("");
}

function wish() {
  return {
    shop: find("setup-shop").value.trim(), bench: find("setup-bench").value.trim(), person: find("setup-person").value.trim(),
    ports: [...find("setup-ports").children].map((row) => row.read?.()).filter(Boolean),
  };
}

/// The daemon opens its house: wait until it answers as one.
async function wait_for_house() {
  say(t("setup.opening"));
  for (let attempt = 0; attempt < 120; ++attempt) {
    await new Promise((done) => setTimeout(done, 250));
    const page = await fetch("/api/v1/page").then((answer) => answer.json(), () => null);
    if (page && !page.setup) return location.assign("/");
  }
  say(t("setup.not_open"));
}

find("setup-form").addEventListener("input", forget);
find("setup-again").addEventListener("click", look);
find("setup-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const wanted = wish();
  const { ok, answer } = await post("/api/v1/setup", { ...wanted, write: false });
  if (!ok) return say(fault_lines(answer));
  say("");
  shown = wanted;
  find("setup-text").textContent = answer.text;
  find("setup-lines").hidden = false;
  find("setup-text").focus();
});
find("setup-write").addEventListener("click", async () => {
  if (!shown) return;
  const { ok, answer } = await post("/api/v1/setup", { ...shown, write: true });
  if (!ok) return say(fault_lines(answer));
  await wait_for_house();
});
find("setup-open").addEventListener("click", async () => {
  const { ok, answer } = await post("/api/v1/reload", {});
  if (!ok) return say(fault_lines(answer));
  await wait_for_house();
});
await look();
