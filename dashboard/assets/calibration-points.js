// The points of a calibration as they are typed: a row each, of a line or of a detector's table.

import { el, setAttr } from "./dom.js";

const HEADS = { line: ["The bay reads", "The reference shows"], table: ["Detector, V", "Reference, dBm or W", "Own u, dB"] };

export const numberOf = (text) => Number(text.trim().replace(",", ".").replace("−", "-"));

// 25 W, or 44 dBm, or 44: in dBm
export function dbmOf(text) {
  const [, figure, unit] = text.trim().match(/^(.*?)\s*(dbm|mw|w)?$/i);
  const value = figure ? numberOf(figure) : NaN;
  if (unit?.toLowerCase() === "w") return 10 * Math.log10(value) + 30;
  if (unit?.toLowerCase() === "mw") return 10 * Math.log10(value);
  return value;
}

export class Points {
  constructor(taken, changed) {
    [this.taken, this.changed, this.kind] = [taken, changed, ""];
    this.head = el("thead");
    this.body = el("tbody");
    this.node = el("table", { class: "sheet-table points" }, this.head, this.body);
    this.be("line");
  }

  // what was typed stays while the kind stays
  be(kind) {
    if (kind === this.kind) return;
    this.kind = kind;
    setAttr(this.node, "data-kind", kind);
    const heads = ["", ...HEADS[kind], ""].map((word) => (word ? el("th", { scope: "col" }, word) : el("td")));
    this.head.replaceChildren(el("tr", {}, ...heads));
    this.body.replaceChildren();
    const least = kind === "line" ? 2 : 3;
    while (this.body.childElementCount < least) this.add();
  }

  add() {
    const n = this.body.childElementCount + 1;
    const boxes = HEADS[this.kind].map((word) => el("input", { type: "text", inputmode: this.kind === "table" && word.includes("dBm") ? "text" : "decimal", "aria-label": `Point ${n}: ${word.toLowerCase().replace("dbm", "dBm").replace(", v", ", V").replace(" w", " W").replace("db", "dB")}`, maxlength: 20 }));
    const take = el("button", { type: "button", class: "quiet point-take", "aria-label": `Take the reading for point ${n}` }, "Take the reading");
    take.addEventListener("click", () => {
      const value = this.taken();
      if (value === null) return;
      boxes[0].value = Number(value.toPrecision(6));
      boxes[1].focus();
      this.changed();
    });
    this.body.append(el("tr", {}, el("th", { scope: "row" }, String(n)), ...boxes.map((box) => el("td", {}, box)), el("td", {}, take)));
  }

  empty() {
    for (const box of this.body.querySelectorAll("input")) box.value = "";
  }

  // the whole ones, and a sentence for each that is not
  read() {
    const [points, lacks] = [[], []];
    for (const row of this.body.children) {
      const [read, reference, u] = [...row.querySelectorAll("input")].map((box) => box.value.trim());
      const n = row.firstChild.textContent;
      if (!read && !reference && !u) continue;
      const point = { reading: numberOf(read), reference: this.kind === "table" ? dbmOf(reference) : numberOf(reference) };
      if (u) point.u = numberOf(u);
      if (!read || !reference) lacks.push(`Point ${n} has one half only.`);
      else if (!Object.values(point).every(Number.isFinite)) lacks.push(`Point ${n} is no number.`);
      else points.push(point);
    }
    if (points.length < 2) lacks.push(this.kind === "table" ? "Two points at least, over the whole range that is used." : "Two points at least, far apart.");
    return { points, lacks };
  }
}
