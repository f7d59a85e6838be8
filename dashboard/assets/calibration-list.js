// The calibrations until now, the newest first; each says whether it is in force, and how it came out.

import { el } from "./dom.js";
import { drawTable, expandedDb } from "./detector-plot.js";
import { drawResiduals } from "./residuals.js";
import { fixed, moment, told } from "./words.js";

export function drawTapes(place, kept, sign) {
  const head = el("h2", {}, "Until now");
  if (!kept.length) {
    place.replaceChildren(head, el("p", { class: "nothing" }, "No channel has been calibrated yet: readings are as the conversions in rack.toml make them. Choose a bay and a channel above, and take two points or more."));
    return;
  }
  place.replaceChildren(head, el("ol", { class: "tapes" }, ...kept.map((one) => tape(one, sign(one.unit)))));
}

function tape(one, unit) {
  const state = one.past_due ? "▲ Past due" : one.in_force ? "✓ In force" : "Superseded";
  const look = one.in_force ? (one.past_due ? "past-due" : "in-force") : "";
  const table = one.kind === "table";
  const reach = table ? `A table of ${one.table.length} points, ${fixed(one.table[0].dbm, 1)} to ${fixed(one.table.at(-1).dbm, 1)} dBm` : `A line through ${one.points.length} points`;
  const u = table ? `${fixed(Math.max(...one.table.map(expandedDb)), 2)} dB` : `${fixed(Math.max(...one.points.map((p) => p.expanded)), 3)} ${unit}`;
  return el(
    "li",
    { class: look },
    el("div", {}, el("p", {}, el("b", {}, `${one.id}. ${one.bay} ${one.channel.replaceAll("-", " ")}`)), el("p", {}, state)),
    el("div", {}, el("p", {}, `${moment(one.made_ns)}${one.who ? ` by ${one.who}` : ""}`), el("p", {}, one.past_due ? told(one.past_due) : one.due ? `Due again on ${one.due}` : "No due date")),
    el("div", {}, el("p", {}, `Against ${one.reference}, u = ${one.u_reference} ${table ? "dB" : unit}`), el("p", {}, `${reach}, U (k = 2) at most ${u}`), ...(one.note ? [el("p", {}, one.note)] : [])),
    table ? drawTable(one.table, true) : drawResiduals(one.points, unit, true),
  );
}
