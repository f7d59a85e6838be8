// The drain currents as a beam that tips to the hungrier device, like a pair of scales.

import { el, setAttr, setClass, setText, svg } from "./dom.js";
import { fixed } from "./words.js";

// a difference of a quarter of the mean lays the beam over as far as it goes
const FULL_TILT = 0.25;
const FULL_DEG = 16;
// a matched pair differs by this much and no one minds (common practice, no source)
const LEVEL = 0.03;
// below this nothing flows worth weighing
const FLOOR_A = 0.05;

export function weigh(drains) {
  const known = drains.filter((a) => a !== null);
  const mean = known.reduce((sum, a) => sum + a, 0) / (known.length || 1);
  if (known.length < 2 || mean < FLOOR_A) return { deg: 0, spread: null, worst: -1 };
  let torque = 0;
  const middle = (drains.length - 1) / 2;
  drains.forEach((a, i) => (torque += a === null ? 0 : (Math.sign(i - middle) * (a - mean)) / mean));
  const tilt = Math.max(-1, Math.min(1, torque / FULL_TILT));
  const spread = (Math.max(...known) - Math.min(...known)) / mean;
  return { deg: tilt * FULL_DEG, spread, worst: drains.indexOf(Math.max(...known)) };
}

export function makeBeam() {
  const arm = svg("g", { class: "beam-arm" }, svg("path", { d: "M8 14H92", class: "beam-bar" }));
  for (const x of [14, 86]) arm.append(svg("path", { d: `M${x - 9} 15h18l-3 6h-12z`, class: "beam-pan" }));
  const picture = svg(
    "svg",
    { viewBox: "0 0 100 36", class: "beam", "aria-hidden": "true" },
    svg("path", { d: "M50 14L43 35H57Z", class: "beam-post" }),
    arm,
    svg("circle", { cx: 50, cy: 14, r: 2.6, class: "beam-pivot" }),
  );
  const amps = el("dd", { class: "amps" });
  const word = el("dd", { class: "under" });
  return { picture, arm, amps, word };
}

export function setBeam(beam, drains) {
  const { deg, spread, worst } = weigh(drains);
  setAttr(beam.arm, "transform", `rotate(${Math.round(deg)} 50 14)`);
  setClass(beam.picture, "alone", drains.length < 2);
  while (beam.amps.childElementCount > Math.max(1, drains.length)) beam.amps.lastChild.remove();
  while (beam.amps.childElementCount < Math.max(1, drains.length)) beam.amps.append(el("span"));
  const crowd = drains.length > 2; // then the unit stands once, under them
  [...beam.amps.children].forEach((cell, i) => setText(cell, crowd ? fixed(drains[i], 2) : `${fixed(drains[i], 2)} A`));
  setClass(beam.amps, "crowd", crowd);
  setText(beam.word, crowd && spread >= LEVEL ? `A · no. ${worst + 1}: +${percent(spread)}` : wordOf(drains, spread, worst));
}

function wordOf(drains, spread, worst) {
  if (drains.length === 1) return "total drain current";
  if (spread === null) return drains.length ? "no drain current" : "drain currents";
  if (spread < LEVEL) return "drains level";
  return `drain ${worst + 1}: ${percent(spread)} more`;
}

function percent(spread) {
  return `${Math.round(spread * 100)} %`;
}
