// A terminal strip: one screw a channel, its last reading, and its quality in a word.

import { el, setAttr, setText } from "./dom.js";
import { DASH, fixed, shown, signOf } from "./words.js";

export function makeTerminals(label) {
  return { node: el("dl", { class: "terminals", "aria-label": label }), rows: new Map() };
}

export function setTerminals({ node, rows }, readings) {
  for (const reading of readings) {
    let row = rows.get(reading.channel);
    if (!row) {
      row = { value: el("dd", { class: "terminal-value" }), quality: el("dd", { class: "terminal-quality" }) };
      row.node = el("div", {}, el("dt", {}, reading.channel), row.value, row.quality);
      rows.set(reading.channel, row);
    }
    const bad = reading.quality !== "good";
    setAttr(row.node, "class", bad ? "bad" : null);
    setText(row.value, value(reading));
    const late = reading.calibration ? (bad ? ", " : "") + "calibration past due" : "";
    setText(row.quality, `${bad || late ? "▲ " : ""}${bad || !late ? reading.quality : ""}${late}`);
  }
  const nodes = readings.map((r) => rows.get(r.channel).node);
  if (nodes.some((n, i) => node.children[i] !== n) || nodes.length !== node.childElementCount) node.replaceChildren(...nodes);
  node.hidden = !nodes.length;
}

function value(reading) {
  if (reading.value === null) return DASH;
  if (reading.unit === "boolean") return reading.value ? "yes" : "no";
  const sign = signOf(reading.unit);
  return `${fixed(shown(reading.value, reading.unit), reading.unit === "A" ? 3 : 2)}${sign ? ` ${sign}` : ""}`;
}
