// The plan as a band that can be taken hold of: each phase a block that is chosen, moved and stretched by pointer or
// keyboard; over it the power that goes into the load, with the load's rating as a line.

import { el, setAttr, svg } from "./dom.js";
import { long } from "./words.js";

const STEPS_MIN = [0.25, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 240, 720, 1440];
const HEIGHT = 120; // of the power over the band

export const total = (phases) => phases.reduce((sum, p) => sum + p.minutes, 0);

// a step that the eye can follow: a fortieth of the plan, rounded to what people say
export function step(phases) {
  return STEPS_MIN.find((m) => m >= total(phases) / 40) ?? 1440;
}

export function makeBand({ choose, change }) {
  const power = svg("svg", { class: "plan-power", role: "img" });
  const blocks = el("div", { class: "plan-blocks", role: "listbox", "aria-label": "Phases, in their order", "aria-orientation": "horizontal" });
  const scale = el("div", { class: "plan-scale", "aria-hidden": "true" });
  const words = el("div", { "aria-hidden": "true" });
  const node = el("div", { class: "plan-band" }, el("div", { class: "plan-watched" }, power, words), blocks, scale);
  const band = { node, power, words, blocks, scale, choose, change, phases: [] };
  // how many minutes can be written under it goes by its width: a tablet is turned
  new ResizeObserver(() => band.phases.length && drawScale(scale, total(band.phases))).observe(scale);
  return band;
}

export function drawBand(band, phases, chosen, estimate, loadW) {
  const whole = total(phases) || 1;
  while (band.blocks.childElementCount > phases.length) band.blocks.lastChild.remove();
  while (band.blocks.childElementCount < phases.length) band.blocks.append(makeBlock(band));
  [...band.blocks.children].forEach((block, i) => setBlock(block, phases[i], i, i === chosen, whole));
  band.phases = phases;
  drawScale(band.scale, whole);
  drawPower(band, phases, whole, estimate, loadW);
}

function makeBlock(band) {
  const picture = svg("svg", { "aria-hidden": "true" }, svg("rect", { width: "100%", height: "100%" }));
  const block = el("div", { class: "plan-block", role: "option" }, picture, el("b"), el("span"), el("i", { class: "plan-grip" }));
  const index = () => [...band.blocks.children].indexOf(block);
  block.addEventListener("focus", () => band.choose(index()));
  block.addEventListener("pointerdown", (event) => hold(band, block, index(), event));
  return block;
}

function setBlock(block, phase, i, chosen, whole) {
  block.style.flexGrow = phase.minutes / whole;
  setAttr(block, "tabindex", chosen ? 0 : -1);
  setAttr(block, "aria-selected", chosen);
  const cycle = phase.on_s ? `, ${long(phase.on_s)} keyed, ${long(phase.off_s)} rested` : "";
  setAttr(block, "aria-label", `${i + 1}. ${phase.drive}, ${long(phase.minutes * 60)}${cycle}${phase.ask ? `, asks: ${phase.ask}` : ""}`);
  const [picture, name, time] = block.children;
  setAttr(picture.firstChild, "fill", `url(#hatch-${phase.drive})`);
  picture.classList.toggle("cycled", Boolean(phase.on_s));
  name.textContent = phase.drive + (phase.ask ? " ✋" : "");
  time.textContent = long(phase.minutes * 60) + (phase.on_s ? ` · ${phase.on_s} s on, ${phase.off_s} s off` : "");
}

// on its right edge a block is stretched, elsewhere it is moved
function hold(band, block, i, event) {
  if (event.button) return;
  band.choose(i);
  const stretches = event.target.classList.contains("plan-grip");
  const width = band.blocks.clientWidth, beginX = event.clientX;
  let place = i, moved = false;
  block.setPointerCapture(event.pointerId);
  const before = band.change.get();
  const unit = step(before), perPx = total(before) / width, minutes = before[i].minutes;
  block.onpointermove = ({ clientX }) => {
    if (!moved && Math.abs(clientX - beginX) < 4) return;
    moved = true;
    if (stretches) {
      const wanted = Math.max(unit, Math.round((minutes + (clientX - beginX) * perPx) / unit) * unit);
      band.change.stretch(i, wanted);
    } else {
      const box = band.blocks.getBoundingClientRect();
      const to = placeAt(band.change.get(), (clientX - box.left) * perPx);
      if (to !== place) place = band.change.move(place, to);
    }
  };
  block.onpointerup = block.onpointercancel = () => (block.onpointermove = block.onpointerup = block.onpointercancel = null);
}

function placeAt(phases, atMin) {
  let end = 0;
  for (const [i, phase] of phases.entries()) {
    end += phase.minutes;
    if (atMin < end) return i;
  }
  return phases.length - 1;
}

function drawScale(scale, whole) {
  const every = STEPS_MIN.find((m) => m >= whole / Math.max(3, scale.clientWidth / 90)) ?? 1440;
  const marks = [];
  for (let m = 0; m <= whole + 1e-6; m += every) {
    const end = whole - m < every / 4 ? "end" : "";
    marks.push(el("span", { class: end, style: `left:${(m / whole) * 100}%` }, long(m * 60)));
  }
  scale.replaceChildren(...marks);
}

function drawPower({ power: picture, words }, phases, whole, estimate, loadW) {
  const powers = estimate?.phases ?? [];
  const most = Math.max(...powers.map((p) => p.load_w), loadW ?? 0, 1) * 1.15;
  const x = (m) => (m / whole) * 1000, y = (w) => HEIGHT - (w / most) * (HEIGHT - 6);
  setAttr(picture, "viewBox", `0 0 1000 ${HEIGHT}`);
  setAttr(picture, "preserveAspectRatio", "none");
  const parts = [];
  let at = 0;
  phases.forEach((phase, i) => {
    const watts = powers[i]?.load_w ?? 0;
    const cycleMin = phase.on_s ? (phase.on_s + phase.off_s) / 60 : 0;
    if (watts && cycleMin && x(cycleMin) > 3) {
      for (let m = 0; m < phase.minutes; m += cycleMin) {
        const on = Math.min(phase.on_s / 60, phase.minutes - m);
        parts.push(svg("rect", { x: x(at + m), width: x(on), y: y(watts), height: HEIGHT - y(watts), class: "plan-watts" }));
      }
    } else if (watts) {
      const look = phase.on_s ? "plan-watts pale" : "plan-watts";
      parts.push(svg("rect", { x: x(at), width: x(phase.minutes), y: y(watts), height: HEIGHT - y(watts), class: look }));
    }
    at += phase.minutes;
  });
  if (loadW) parts.push(svg("path", { d: `M0 ${y(loadW)}H1000`, class: "plan-rating" }));
  picture.replaceChildren(...parts);
  const max = estimate?.load_max_w ?? 0;
  const word = (watts, text, look) => el("span", { class: look, style: `top:${(100 * y(watts)) / HEIGHT}%` }, text);
  words.replaceChildren(
    ...(max ? [word(max, `${Math.round(max)} W into the load`, "plan-watts-word")] : []),
    ...(loadW ? [word(loadW, `the load takes ${loadW} W`, "plan-rating-word")] : []),
  );
  const say = estimate ? `Power into the load, at most ${Math.round(estimate.load_max_w)} W` : "Power into the load";
  setAttr(picture, "aria-label", loadW ? `${say}; the load takes ${loadW} W continuously.` : `${say}.`);
}
