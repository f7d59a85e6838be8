// Booking in: the set-up sheet as a card that is judged while it is typed. The daemon judges; this draws and asks.

import { send } from "./ask.js";
import { el, setAttr } from "./dom.js";
import { draws } from "./parts.js";
import { drawGains, drawJudged, makeJudged } from "./sheet-judged.js";

const JUDGE_MS = 200;
const MOST_DEVICES = 4;
export const MODES = { am_carrier_w: "AM carrier", am_pep_w: "AM PEP", fm_w: "FM", ssb_pep_w: "SSB PEP" };
const TEXTS = new Set(["number", "unit", "kind", "serial", "customer", "fitted.type", "fitted.lot", "fitted.bias_method", "before.meter", "after.meter"]);
const HEAT = { rth_jc_k_w: "R_θJC, K/W", rth_cs_k_w: "R_θCS, K/W", tj_max_c: "T_J max, °C" };

let page = null;

function drawSheet() {
  const place = document.getElementById("sheet-editor");
  if (place && page?.place !== place) open(place);
}

function open(place) {
  const sheet = JSON.parse(place.dataset.sheet);
  page = { place, asked: 0, over: place.dataset.booking ? Number(place.dataset.booking) : null, types: JSON.parse(place.dataset.devices) };
  page.devices = el("tbody");
  page.more = button("One device more", () => addDevice() && judgeSoon());
  page.said = el("div", { class: "start-said", role: "status" });
  page.judged = makeJudged();
  page.form = el(
    "form",
    { class: "card-sheet", novalidate: "", autocomplete: "off" },
    part("The unit", fields(["number", "Job number"], ["unit", "Unit"], ["kind", "Kind of unit"], ["serial", "Serial"], ["customer", "Customer (may be left out, and erased later)", "wide"])),
    part("Fitted", fields(["fitted.type", "Device type"], ["fitted.lot", "Lot"], ["fitted.bias_method", "How the bias was set", "wide"]), heat()),
    part("Output devices", table(["Device", "Bias, V", "Idle, A"], page.devices), page.more),
    part("Power", powers()),
    el("div", { class: "sheet-end" }, el("button", { type: "submit", class: "go" }, page.over ? "Keep the changes" : "Book it in"), page.said),
  );
  place.replaceChildren(page.form, page.judged.node, el("datalist", { id: "device-types" }, ...page.types.map((type) => el("option", { value: type.name }))));
  for (let i = 0; i < Math.max(2, sheet.device?.length ?? 0); i += 1) addDevice();
  fill(sheet, "");
  if (page.over && sheet.customer) page.said.append(button("Erase the customer", erase));
  page.form.addEventListener("input", judgeSoon);
  page.form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep();
  });
  judge();
}

function button(word, act) {
  const made = el("button", { type: "button", class: "quiet" }, word);
  made.addEventListener("click", act);
  return made;
}

const idOf = (name) => `sheet-${name.replace(/[^a-z0-9_]/g, "-")}`;
const part = (name, ...parts) => el("fieldset", {}, el("legend", {}, name), ...parts);
const fields = (...list) => el("div", { class: "sheet-fields" }, ...list.map(([name, word, look = ""]) => el("div", { class: `field ${look}` }, el("label", { for: idOf(name) }, word), box(name), fault(name))));
const fault = (name) => el("p", { class: "field-said", id: `${idOf(name)}-said`, "data-says": name });

function box(name, word = "") {
  const made = el("input", { id: idOf(name), name, type: "text", maxlength: TEXTS.has(name) ? 300 : 20 });
  if (!TEXTS.has(name)) setAttr(made, "inputmode", "decimal");
  if (name === "fitted.type") setAttr(made, "list", "device-types");
  if (word) setAttr(made, "aria-label", word);
  return made;
}

function table(heads, body) {
  return el("table", { class: "sheet-table" }, el("thead", {}, el("tr", {}, ...heads.map((h) => el("th", { scope: "col" }, h)))), body);
}

function addDevice() {
  const n = page.devices.childElementCount + 1;
  const cell = (field, word) => el("td", {}, box(`device[${n}].${field}`, `Device ${n}, ${word}`), fault(`device[${n}].${field}`));
  page.devices.append(el("tr", {}, el("th", { scope: "row" }, String(n)), cell("bias_v", "bias in volts"), cell("idle_a", "idle current in amperes")));
  page.more.hidden = n >= MOST_DEVICES;
  return true;
}

function powers() {
  const cell = (when, mode, word) => el("td", {}, box(`${when}.${mode}`, `${word} ${when}${mode === "meter" ? "" : ", in watts"}`), fault(`${when}.${mode}`));
  page.gains = {};
  const rows = Object.entries(MODES).map(([mode, word]) => {
    page.gains[mode] = el("td", { class: "gain" });
    return el("tr", {}, el("th", { scope: "row" }, word), cell("before", mode, word), cell("after", mode, word), page.gains[mode]);
  });
  rows.push(el("tr", {}, el("th", { scope: "row" }, "Meter"), cell("before", "meter", "Meter"), cell("after", "meter", "Meter"), el("td")));
  return table(["Mode", "Before, W", "After, W", "Gain"], el("tbody", {}, ...rows));
}

// what the device's maker says of its heat: from the library, unless it is written here
function heat() {
  const store = button("Keep this type in the library", keepType);
  page.typeSaid = el("p", { class: "field-said plain", role: "status" });
  return el("details", { class: "heat" }, el("summary", {}, "Heat data of the type"), fields(...Object.entries(HEAT).map(([name, word]) => [`fitted.${name}`, word])), store, page.typeSaid);
}

// --- what is typed ----------------------------------------------------------------------------------------------

function read() {
  const sheet = { fitted: {}, device: [...page.devices.children].map(() => ({})), before: {}, after: {} };
  for (const input of page.form.querySelectorAll("input[name]")) {
    const typed = input.value.trim();
    if (!typed) continue;
    // what is no number is sent as it is: the daemon says what is wrong with it
    const number = Number(typed.replace(",", ".").replace("−", "-"));
    const value = TEXTS.has(input.name) || Number.isNaN(number) ? typed : number;
    const [, device, field] = /^device\[(\d)\]\.(.+)$/.exec(input.name) ?? [];
    const [group, name] = input.name.split(".");
    if (device) sheet.device[device - 1][field] = value;
    else if (name) sheet[group][name] = value;
    else sheet[group] = value;
  }
  // rows at the end in which nothing stands are no devices
  while (sheet.device.length && !Object.keys(sheet.device.at(-1)).length) sheet.device.pop();
  return sheet;
}

function fill(value, name) {
  if (value === null || value === undefined) return;
  if (Array.isArray(value)) value.forEach((each, i) => fill(each, `${name}[${i + 1}]`));
  else if (typeof value === "object") for (const [key, each] of Object.entries(value)) fill(each, name ? `${name}.${key}` : key);
  else {
    const input = page.form.elements[name];
    if (input) input.value = String(value);
  }
}

let soon = 0;

function judgeSoon() {
  clearTimeout(soon);
  soon = setTimeout(judge, JUDGE_MS);
}

async function judge() {
  const mine = (page.asked += 1);
  knownType();
  const said = await send("/sheet/check", read());
  if (mine === page.asked) show(said);
}

function show(said) {
  drawJudged(page.judged, said);
  drawGains(page.gains, said.gain_db ?? {});
  const problems = new Map((said.problems ?? []).map((p) => [p.field, p.what]));
  const asked = new Set((said.questions ?? []).flatMap((q) => q.fields));
  for (const place of page.form.querySelectorAll("[data-says]")) {
    const name = place.dataset.says;
    const input = page.form.elements[name];
    const what = problems.get(name) ?? "";
    if (place.textContent !== what) place.textContent = what;
    setAttr(input, "aria-invalid", what ? "true" : null);
    input.classList.toggle("asked", !what && asked.has(name));
    setAttr(input, "aria-describedby", what ? place.id : asked.has(name) ? "sheet-questions" : null);
  }
}

// data of the library, shown where nothing is written
function knownType() {
  const name = page.form.elements["fitted.type"].value.trim().toLowerCase();
  const type = page.types.find((each) => each.name.toLowerCase() === name);
  for (const field of Object.keys(HEAT)) setAttr(page.form.elements[`fitted.${field}`], "placeholder", type?.[field] ? `${type[field]} (library)` : null);
}

// --- what a person orders ---------------------------------------------------------------------------------------

async function keep() {
  const press = page.form.querySelector("button[type=submit]");
  press.disabled = true;
  const said = await send("/sheet/keep", { booking: read(), over: page.over });
  press.disabled = false;
  page.said.className = `start-said ${said.failed === undefined ? "good" : "bad"}`;
  if (said.failed !== undefined) {
    page.said.replaceChildren(said.failed);
    return;
  }
  const again = el("a", { href: "/book" }, "Book in another");
  page.said.replaceChildren(el("b", {}, `Booked in as ${said.booking}. `), "Choose it on a bay's page to start its soak. ", el("a", { href: `/book/${said.booking}` }, "Open its sheet"), " · ", again);
  page.over = said.booking; // what is pressed again changes this one, and books in no second
  press.textContent = "Keep the changes";
}

async function erase(event) {
  const said = await send("/sheet/erase", { booking: page.over });
  page.form.elements.customer.value = said.failed === undefined ? "" : page.form.elements.customer.value;
  event.target.replaceWith(said.failed ?? `${said.done}.`);
}

async function keepType() {
  const { fitted } = read();
  const { type: name = "", rth_jc_k_w, rth_cs_k_w, tj_max_c } = fitted;
  const said = name ? await send("/sheet/device", { name, rth_jc_k_w, rth_cs_k_w, tj_max_c }) : { failed: "Write the device type first." };
  page.typeSaid.textContent = said.failed ?? `${said.done}.`;
  if (said.failed === undefined) page.types = [...page.types.filter((t) => t.name !== name), { name, rth_jc_k_w, rth_cs_k_w, tj_max_c }];
}

draws(drawSheet);
