// A detector's table: power in dBm over its volts on a logarithmic axis, straight between the points and nothing beyond.
// The bars are U (k = 2), drawn many times as long as they are, or nobody would see them.

import { svg } from "./dom.js";
import { fixed } from "./words.js";

const PER_DB = Math.LN10 / 10;

export const volts = (value) => `${Number(value.toPrecision(4))} V`.replace("-", "−");
export const expandedDb = (point) => point.expanded_w / (point.watts * PER_DB);

export function drawTable(points, small = false) {
  const [wide, high, left, foot] = small ? [240, 64, 8, 8] : [440, 270, 58, 50];
  const logs = points.map((p) => Math.log10(p.volts));
  const [first, last] = [points[0], points.at(-1)];
  const x = (log) => left + 18 + ((log - logs[0]) / (logs.at(-1) - logs[0] || 1)) * (wide - left - 46);
  const y = (dbm) => 14 + ((last.dbm - dbm) / (last.dbm - first.dbm || 1)) * (high - foot - 28);
  const said = points.map((p) => `${volts(p.volts)}: ${fixed(p.dbm, 2)} ± ${fixed(expandedDb(p), 2)} dBm`).join("; ");
  const drawing = svg("svg", { class: "residuals", viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": `Table ${said}` });
  if (!small) decades(drawing, logs, x, high - foot, left, wide);
  drawing.append(svg("path", { class: "zero", fill: "none", d: `M${points.map((p, i) => `${x(logs[i])} ${y(p.dbm)}`).join("L")}` }));
  const stretch = stretchOf(points, (high - foot - 28) / (last.dbm - first.dbm || 1));
  points.forEach((p, i) => {
    const half = expandedDb(p) * stretch * ((high - foot - 28) / (last.dbm - first.dbm || 1));
    drawing.append(svg("path", { class: "bar", d: `M${x(logs[i])} ${y(p.dbm) - half}v${2 * half}` }), svg("circle", { cx: x(logs[i]), cy: y(p.dbm), r: small ? 3 : points.length > 20 ? 3 : 5 }));
  });
  if (small) return drawing;
  for (const dbm of ticks(first.dbm, last.dbm).filter((one) => y(one) > 24)) drawing.append(svg("text", { x: left - 4, y: y(dbm) + 4, "text-anchor": "end" }, `${fixed(dbm, 0)}`));
  drawing.append(svg("text", { x: left - 4, y: 12, "text-anchor": "end" }, "dBm"));
  if (stretch > 1) drawing.append(svg("text", { x: wide - 10, y: high - 6, "text-anchor": "end" }, `bars: U (k = 2), ${stretch} times as long`));
  return drawing;
}

// so that the longest bar is about 20 units high
function stretchOf(points, perDb) {
  const most = Math.max(...points.map(expandedDb)) * perDb;
  return most > 0 ? [100, 50, 20, 10, 5, 2, 1].find((times) => most * times <= 14) ?? 1 : 1;
}

function decades(drawing, logs, x, foot, left, wide) {
  const [low, high] = [logs[0], logs.at(-1)];
  const steps = high - low > 1.6 ? [1] : [1, 2, 5];
  const marks = [];
  for (let decade = Math.floor(low); decade <= Math.ceil(high); decade += 1) for (const n of steps) marks.push(n * 10 ** decade);
  let free = left;
  const inside = marks.filter((v) => Math.log10(v) >= low - 1e-9 && Math.log10(v) <= high + 1e-9);
  for (const value of inside.length > 1 ? inside : [10 ** low, 10 ** high]) {
    const at = x(Math.log10(value));
    drawing.append(svg("path", { class: "rule", d: `M${at} 8V${foot}` }));
    const half = volts(value).length * 3.6;
    if (at - half < free || at + half > wide) continue; // words must not lie on each other
    drawing.append(svg("text", { x: at, y: foot + 18, "text-anchor": "middle" }, volts(value)));
    free = at + half + 6;
  }
}

function ticks(low, high) {
  const step = [1, 2, 5, 10, 20, 50].find((one) => (high - low) / one <= 6) ?? 50;
  const found = [];
  for (let dbm = Math.ceil(low / step) * step; dbm <= high + 1e-9; dbm += step) found.push(dbm);
  return found.length > 1 ? found : [low, high];
}
