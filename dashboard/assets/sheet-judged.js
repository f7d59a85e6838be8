// What there is to say of a sheet: the questions with their sources, what can't be judged yet, the envelope drawn.

import { el, svg } from "./dom.js";
import { fixed, told } from "./words.js";

const WAYS = ["before", "after"];

export function makeJudged() {
  const parts = { state: el("p", { class: "judged-state", role: "status" }), envelopes: el("div", { class: "envelopes" }), list: el("ol", { class: "questions", id: "sheet-questions" }), rest: el("div", { class: "not-judged" }), drawn: "" };
  parts.node = el("aside", { class: "judged", "aria-label": "What there is to say of this sheet" }, el("h2", {}, "Looked at"), parts.state, parts.list, parts.envelopes, parts.rest);
  return parts;
}

export function drawJudged(parts, said) {
  const key = JSON.stringify(said);
  if (key === parts.drawn) return;
  parts.drawn = key;
  if (said.failed !== undefined) {
    parts.state.textContent = `Not looked at: ${said.failed}`;
    return;
  }
  parts.state.textContent = state(said);
  parts.list.replaceChildren(...said.questions.map((q) => el("li", {}, el("p", {}, told(q.text)), el("small", {}, `From: ${q.source}`))));
  parts.envelopes.replaceChildren(...WAYS.filter((when) => when in said.depth).map((when) => envelope(when, said.depth[when])));
  const facts = said.idle_spread === null ? [] : [el("p", {}, `Idle currents lie ${fixed(said.idle_spread * 100, 1)} % of their mean apart.`)];
  const open = said.not_judged.map((n) => el("li", {}, told(n.why)));
  parts.rest.replaceChildren(...facts, ...(open.length ? [el("h3", {}, "Can't be judged yet"), el("ul", {}, ...open)] : []));
}

function state(said) {
  const count = said.questions.length;
  const asked = count === 0 ? "✓ No question so far." : count === 1 ? "? One question." : `? ${count} questions.`;
  const wrong = said.problems.length ? ` ✕ ${said.problems.length} field${said.problems.length > 1 ? "s" : ""} can't be what it says.` : "";
  const missing = said.missing.length ? ` To book it in, it needs: ${said.missing.join(", ")}.` : "";
  return asked + wrong + missing;
}

export function drawGains(cells, gains) {
  for (const [mode, cell] of Object.entries(cells)) {
    const db = gains[mode];
    const text = db === undefined ? "" : `${db >= 0 ? "+" : ""}${fixed(db, 1)} dB`;
    if (cell.textContent !== text) cell.textContent = text;
  }
}

// the envelope of the carrier under one tone of that depth: 1 + m cos
function envelope(when, depth) {
  const m = Math.max(0, Math.min(1.2, depth));
  const points = Array.from({ length: 97 }, (_, i) => [i * 2.5, (1 + m * Math.cos(((i - 12) / 24) * 2 * Math.PI)) * 17]);
  const side = (sign) => points.map(([x, y]) => `${x.toFixed(1)},${(40 - sign * Math.max(0, y)).toFixed(1)}`);
  const drawing = svg("svg", { viewBox: "0 0 240 80", role: "img", "aria-label": `Envelope ${when}: modulation depth ${fixed(depth * 100, 0)} %` }, svg("polygon", { class: "envelope", points: [...side(1), ...side(-1).reverse()].join(" ") }), svg("path", { class: "carrier", d: "M0 23H240M0 57H240" }));
  return el("figure", {}, drawing, el("figcaption", {}, `Modulation depth ${when}: ${fixed(depth * 100, 0)} %`));
}
