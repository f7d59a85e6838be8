// Calibrations: what a channel reads now beside a form of points, what would come of them, and the list until now.

import { get, send } from "./ask.js";
import { el, setAttr, setText } from "./dom.js";
import { drawTapes } from "./calibration-list.js";
import { Points, numberOf } from "./calibration-points.js";
import { drawTable, volts } from "./detector-plot.js";
import { draws } from "./parts.js";
import { drawResiduals } from "./residuals.js";
import { DASH, fixed, signOf, told } from "./words.js";

const READ_MS = 1000;
const JUDGE_MS = 250;
const POWERS = ["forward", "peak", "reflected"];
let page = null;
let readMs = 0;
let reading = false;

// calibrations are entered in the channel's own unit, whatever degrees the viewer reads elsewhere
const sign = (unit) => (unit === "Cel" ? "°C" : signOf(unit));

async function drawCalibrations() {
  const place = document.getElementById("calibration-bench");
  if (!place) return;
  if (page?.place !== place) open(place);
  if (reading || performance.now() - readMs < READ_MS) return;
  [reading, readMs] = [true, performance.now()];
  try {
    page.bays = await get("/live/links");
    setText(page.news, "");
    drawReading();
  } catch (fault) {
    setText(page.news, `The reading below is old: ${fault.message}`);
    page.reads.classList.add("stale");
  }
  reading = false;
}

function open(place) {
  page = { place, bays: [], asked: 0, lastUnit: "", news: document.getElementById("calibration-news") };
  page.bay = el("select", { id: "calibration-bay" });
  page.channel = el("select", { id: "calibration-channel" });
  page.kind = el("select", { id: "calibration-kind" }, el("option", { value: "line" }, "A line"), el("option", { value: "table" }, "A detector's table"));
  page.kindField = field("What is drawn", page.kind);
  page.now = el("b", {}, DASH);
  page.raw = el("span");
  page.reads = el("div", { class: "reads" }, page.now, page.raw);
  page.points = new Points(takeNow, judgeSoon);
  page.boxes = Object.fromEntries([["reference", "text"], ["u_reference", "text"], ["due", "date"], ["who", "text"], ["note", "text"]].map(([name, type]) => [name, el("input", { id: `calibration-${name}`, type, maxlength: 300 })]));
  setAttr(page.boxes.u_reference, "inputmode", "decimal");
  page.unitWord = el("span", {}, "");
  page.said = el("div", { class: "start-said", role: "status" });
  page.sentences = el("div", { role: "status" });
  page.plot = el("div");
  page.press = el("button", { type: "submit", class: "go" }, "Put it in force");
  const form = el(
    "form",
    { class: "card-sheet", novalidate: "", autocomplete: "off" },
    part("The channel", el("div", { class: "sheet-fields" }, field("Bay", page.bay), field("Channel", page.channel), page.kindField), page.reads),
    part("Points", page.points.node, button("One point more", () => page.points.add())),
    part("The reference", el("div", { class: "sheet-fields" }, field("Reference instrument", page.boxes.reference), field(["Its standard uncertainty", page.unitWord], page.boxes.u_reference), field("Due again on", page.boxes.due), field("Who", page.boxes.who), field("Note", page.boxes.note, "wide"))),
    el("div", { class: "sheet-end" }, page.press, page.said),
  );
  place.replaceChildren(form, el("aside", { class: "judged", "aria-label": "What would come of it" }, el("h2", {}, "What would come of it"), page.sentences, page.plot));
  page.bay.addEventListener("change", drawReading);
  page.channel.addEventListener("change", drawReading);
  page.kind.addEventListener("change", () => (drawReading(), judgeSoon()));
  form.addEventListener("input", judgeSoon);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep(false);
  });
  list();
  judge();
}

const part = (name, ...parts) => el("fieldset", {}, el("legend", {}, name), ...parts);
const field = (word, box, look = "") => el("div", { class: `field ${look}` }, el("label", { for: box.id }, ...[word].flat()), box);

function button(word, act, look = "quiet") {
  const made = el("button", { type: "button", class: look }, word);
  made.addEventListener("click", act);
  return made;
}

function takeNow() {
  const found = channelNow();
  const value = page.kind.value === "table" ? found?.volts : found?.value;
  if (value === null || value === undefined) {
    setText(page.news, page.kind.value === "table" ? "This node sends no volts of that detector: a table needs them." : "There is no reading to take now.");
    return null;
  }
  return value;
}

// --- what is read now -------------------------------------------------------------------------------------------

const bayNow = () => page.bays.find((bay) => bay.bay === page.bay.value);
const channelNow = () => bayNow()?.readings.find((r) => r.channel === page.channel.value);

function options(select, names) {
  if (names.join() === [...select.options].map((o) => o.value).join()) return;
  const before = select.value;
  select.replaceChildren(...names.map((name) => el("option", { value: name }, name)));
  if (names.includes(before)) select.value = before;
}

function channels() {
  const bay = bayNow();
  const seen = (bay?.readings ?? []).filter((r) => r.unit !== "boolean");
  options(page.channel, seen.map((r) => r.channel));
}

function drawReading() {
  options(page.bay, page.bays.map((b) => b.bay));
  channels();
  const bay = bayNow(), found = channelNow();
  page.reads.classList.toggle("stale", bay?.stale ?? true);
  const unit = found ? sign(found.unit) : "";
  setText(page.now, found?.value == null ? DASH : `${fixed(found.value, 3)} ${unit}`);
  setText(page.raw, rawWords(bay, found, unit));
  if (found && page.lastUnit !== page.bay.value + page.channel.value) {
    page.lastUnit = page.bay.value + page.channel.value;
    // a detector whose volts are sent is what tables are for
    page.kind.value = found.volts == null ? "line" : "table";
    judgeSoon();
  }
  page.kindField.hidden = !POWERS.includes(page.channel.value);
  page.points.be(page.kind.value);
  setText(page.unitWord, page.kind.value === "table" ? ", dB" : unit ? `, ${unit}` : "");
}

function rawWords(bay, found, unit) {
  if (!found) return bay ? "Nothing is read on this bay yet: see that its node sends packs." : "No bay is known yet.";
  const parts = [found.value == null ? `No value: ${found.quality}.` : "", found.volts == null ? "" : `Detector ${Number(found.volts.toPrecision(4))} V.`];
  if (!found.calibration_id) return [...parts, "No calibration is in force."].join(" ");
  const raw = found.raw == null || found.raw_unit === "V" ? "By " : `${fixed(found.raw, 3)} ${unit} without `;
  return [...parts, `${raw}calibration ${found.calibration_id}${found.calibration ? `, ${found.calibration}` : ""}.`].join(" ");
}

// --- what is typed ----------------------------------------------------------------------------------------------

function order(confirm) {
  const { points, lacks } = page.points.read();
  const typed = Object.fromEntries(Object.entries(page.boxes).map(([name, box]) => [name, box.value.trim()]));
  if (!typed.reference) lacks.push("Which reference instrument?");
  const u = numberOf(typed.u_reference);
  if (!typed.u_reference || Number.isNaN(u) || u < 0) lacks.push("What is its standard uncertainty? It stands in its certificate: half of U where k = 2.");
  if (!page.channel.value) lacks.push("Nothing is read on this bay yet.");
  return { lacks, body: { ...typed, u_reference: u, due: typed.due || null, bay: page.bay.value, channel: page.channel.value, kind: page.kind.value, points, confirm } };
}

let soon = 0;

function judgeSoon() {
  clearTimeout(soon);
  soon = setTimeout(judge, JUDGE_MS);
}

async function judge() {
  const mine = (page.asked += 1);
  const { lacks, body } = order(false);
  page.press.disabled = lacks.length > 0;
  if (lacks.length) return say([], lacks);
  const said = await send("/calibration/check", body);
  if (mine !== page.asked) return;
  page.press.disabled = said.failed !== undefined;
  if (said.failed !== undefined) return say([], [said.failed]);
  const { line, table, unit } = said;
  if (!line) {
    say(said.asks ? [said.asks] : [], said.said);
    page.plot.replaceChildren(drawTable(table), tableRows(table));
    return;
  }
  const slope = `Added to a reading: ${fixed(line.intercept, 4)} ${sign(unit)} at ${fixed(line.pivot, 2)} ${sign(unit)}, and ${fixed(line.slope * 100, 3)} % of what lies beyond.`;
  const rest = line.residual === null ? [] : [`Readings lie ${fixed(line.residual, 4)} ${sign(unit)} about the line (standard deviation, ${line.freedom} ${line.freedom === 1 ? "degree" : "degrees"} of freedom).`];
  say(said.asks ? [said.asks] : [], [slope, ...rest, ...said.said]);
  page.plot.replaceChildren(drawResiduals(said.points, sign(unit)));
}

function tableRows(table) {
  const cells = (tag, words) => words.map((word) => el(tag, {}, word));
  const rows = table.map((p) => el("tr", {}, ...cells("td", [volts(p.volts), fixed(p.dbm, 2), watts(p.watts), `± ${watts(p.expanded_w)}`])));
  return el("div", { class: "table-rows", tabindex: 0, role: "region", "aria-label": "The table" }, el("table", {}, el("thead", {}, el("tr", {}, ...cells("th", ["Detector", "dBm", "Power", "U (k = 2)"]))), el("tbody", {}, ...rows)));
}

const watts = (value) => (value >= 0.0995 ? `${Number(value.toPrecision(3))} W` : value >= 1e-4 ? `${Number((value * 1e3).toPrecision(3))} mW` : `${Number((value * 1e6).toPrecision(3))} µW`);

function say(asks, sentences) {
  page.sentences.replaceChildren(...asks.map((text) => el("p", { class: "asks" }, `? ${told(text)}.`)), ...sentences.map((text) => el("p", {}, /[.?!]$/.test(text) ? told(text) : `${told(text)}.`)));
  if (!sentences.length || page.press.disabled) page.plot.replaceChildren();
}

async function keep(confirm) {
  const { lacks, body } = order(confirm);
  if (lacks.length) return;
  page.press.disabled = true;
  const said = await send("/calibration/keep", body);
  page.press.disabled = false;
  page.said.className = `start-said ${said.failed === undefined ? "good" : "bad"}`;
  if (said.failed === undefined) {
    page.said.replaceChildren(`Calibration ${said.id} of ${said.channel} on ${said.bay} is in force. The readings follow it from now on.`);
    page.points.empty();
    judge();
    list();
    return;
  }
  page.said.replaceChildren(el("p", {}, `${told(said.failed)}.`));
  if (said.failed.includes("then confirm")) page.said.append(button("I looked: put it in force all the same", () => keep(true)));
}

async function list() {
  const place = document.getElementById("calibration-list");
  try {
    drawTapes(place, await get("/calibration/list"), sign);
  } catch (fault) {
    place.replaceChildren(el("p", {}, `The list can't be shown: ${fault.message}`));
  }
}

draws(drawCalibrations);
