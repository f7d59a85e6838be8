// The hatching of each drive, so that a plan reads without colour; made once, used by every strip by its id.

import { el, svg } from "./dom.js";

export const DRIVES = ["off", "idle", "carrier", "two-tone", "modulated"];

const LINES = {
  off: [],
  idle: ["M2 3h2", "M6 7h2"],
  carrier: ["M-2 10L10 -2", "M6 10L10 6", "M-2 2L2 -2"],
  "two-tone": ["M0 8L8 0", "M0 0L8 8"],
  modulated: ["M0 4q2 -5 4 0t4 0"],
};

export function addHatches() {
  const patterns = DRIVES.map((drive) =>
    svg(
      "pattern",
      { id: `hatch-${drive}`, width: 8, height: 8, patternUnits: "userSpaceOnUse" },
      svg("rect", { width: 8, height: 8, class: `hatch-ground hatch-ground-${drive}` }),
      ...LINES[drive].map((d) => svg("path", { d, class: "hatch-line" })),
    ),
  );
  const holder = svg("svg", { width: 0, height: 0, class: "hatches", "aria-hidden": "true" }, svg("defs", {}, ...patterns));
  document.body.append(holder);
}

// the key to the hatching, at the foot of the rack
export function hatchKey(place) {
  if (!place || place.childElementCount) return;
  place.append("Plan: ");
  for (const drive of DRIVES) {
    const box = svg("svg", { width: 34, height: 16, "aria-hidden": "true" });
    box.append(svg("rect", { x: 0.5, y: 0.5, width: 33, height: 15, fill: `url(#hatch-${drive})`, class: "band-edge" }));
    place.append(el("span", {}, box, ` ${drive}`));
  }
}
