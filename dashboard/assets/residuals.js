// What is left at each point after the correction, with a bar of its expanded uncertainty (k = 2) about it.

import { svg } from "./dom.js";
import { fixed } from "./words.js";

export function drawResiduals(points, unit, small = false) {
  const [wide, high, left, foot] = small ? [240, 64, 8, 8] : [440, 210, 62, 34];
  const most = Math.max(...points.map((p) => Math.abs(p.residual) + p.expanded), 1e-9) * 1.1;
  const readings = points.map((p) => p.reading);
  const [least, greatest] = [Math.min(...readings), Math.max(...readings)];
  const x = (value) => left + 22 + ((value - least) / (greatest - least || 1)) * (wide - left - 50);
  const y = (value) => 10 + ((most - value) / (2 * most)) * (high - foot - 16);
  const said = points.map((p) => `at ${fixed(p.reading, 2)}: ${fixed(p.residual, 4)} ± ${fixed(p.expanded, 4)} ${unit}`).join("; ");
  const drawing = svg("svg", { class: "residuals", viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": `Residuals ${said}` }, svg("path", { class: "zero", d: `M${left} ${y(0)}H${wide - 8}` }));
  for (const p of points) {
    drawing.append(svg("path", { class: "bar", d: `M${x(p.reading)} ${y(p.residual + p.expanded)}V${y(p.residual - p.expanded)}` }), svg("circle", { cx: x(p.reading), cy: y(p.residual), r: small ? 4 : 6 }));
  }
  if (small) return drawing;
  const places = most > 1 ? 2 : most > 0.01 ? 3 : 5;
  for (const value of [most / 1.1, 0, -most / 1.1]) drawing.append(svg("text", { x: left - 6, y: y(value) + 4, "text-anchor": "end" }, fixed(value, places)));
  for (const value of new Set([least, greatest])) drawing.append(svg("text", { x: x(value), y: high - 8, "text-anchor": "middle" }, `${fixed(value, 2)} ${unit}`));
  drawing.append(svg("text", { x: (left + wide) / 2, y: high - 8, "text-anchor": "middle" }, "left over"));
  return drawing;
}
