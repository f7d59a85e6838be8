// How often this rack calls for a person, on a ruler with the figures that alarm management goes by.

import { el, setText, svg } from "./dom.js";
import { fixed, moment } from "./words.js";

// EEMUA 191: alerts in ten minutes, and what each stretch of the ruler is called there
const MARKS = [0, 1, 2, 10, 20];
const WORDS = ["acceptable", "manageable", "over-demanding", "unacceptable"];
const WIDE = 340;
let drawn = "";

// each stretch is as wide as the next: what matters is in which one stands
function placeOf(count) {
  const at = MARKS.findIndex((mark, i) => i > 0 && count <= mark);
  if (at < 0) return WIDE;
  return ((at - 1 + (count - MARKS[at - 1]) / (MARKS[at] - MARKS[at - 1])) * WIDE) / WORDS.length;
}

export function drawRate(rate) {
  const place = document.getElementById("alert-rate");
  if (!place) return;
  const key = JSON.stringify(rate);
  if (key === drawn && place.childElementCount) return;
  drawn = key;
  if (!rate) {
    place.replaceChildren(el("h2", {}, "How often it calls"), el("p", {}, "Not known: the daemon does not answer."));
    return;
  }
  const picture = svg("svg", { viewBox: `-14 0 ${WIDE + 28} 104`, class: "ruler", role: "img", "aria-label": `${rate.last_10_min} in the last ten minutes; ${rate.text}` });
  picture.append(svg("rect", { x: 0, y: 40, width: WIDE, height: 26, class: "ruler-paper" }));
  WORDS.forEach((word, i) => {
    const x = (i * WIDE) / WORDS.length;
    picture.append(svg("rect", { x, y: 40, width: WIDE / WORDS.length, height: 26, class: `ruler-part ruler-${i}` }));
    picture.append(svg("text", { x: x + WIDE / WORDS.length / 2, y: 97, class: "ruler-word" }, word));
  });
  MARKS.forEach((mark, i) => {
    const x = (i * WIDE) / WORDS.length;
    picture.append(svg("path", { d: `M${x} 40V72`, class: "ruler-mark" }));
    picture.append(svg("text", { x, y: 84, class: "ruler-figure" }, i === MARKS.length - 1 ? `${mark}+` : String(mark)));
  });
  picture.append(...pointer(rate.last_10_min, "now", true), ...pointer(rate.average_per_10_min, "average", false));
  place.replaceChildren(
    el("h2", {}, "How often it calls"),
    picture,
    el("p", { class: "rate-said" }, el("b", {}, rate.flood ? "A flood: " : ""), rate.text, "."),
    el("dl", { class: "facts" }, ...pairs(rate)),
    el("p", { class: "rate-hint" }, "Alerts told in ten minutes. Marks: EEMUA 191; a flood is more than ten, ISA-18.2. If it calls too often, mend the cause, or look at the limits."),
  );
}

function pointer(count, word, above) {
  const x = placeOf(count);
  const end = x < 60 ? "start" : x > WIDE - 60 ? "end" : "middle";
  const d = above ? `M${x} 40l-7 -11h14z` : `M${x} 40V66`;
  const label = svg("text", { x, y: above ? 22 : 0, class: "ruler-pointer-word", "text-anchor": end }, `${word} ${fixed(count, Number.isInteger(count) ? 0 : 1)}`);
  return above ? [svg("path", { d, class: "ruler-pointer" }), label] : [svg("path", { d, class: "ruler-average" })];
}

function pairs(rate) {
  const rows = {
    "last ten minutes": rate.last_10_min,
    "average in ten minutes": fixed(rate.average_per_10_min, 2),
    "most in ten minutes": rate.most_in_10_min,
    "time in flood": `${fixed(rate.share_in_flood * 100, 1)} %`,
    since: moment(rate.since_ns),
  };
  return Object.entries(rows).flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, String(value))]);
}
