// What the plan will ask of radio and load, from typical figures that a person enters once; this browser keeps them.

import { el, setText } from "./dom.js";
import { long } from "./words.js";

const KEPT = "keysoak typical";
const FIELDS = [
  ["forward_w", "Forward power, carrier", "W", 25],
  ["efficiency_percent", "Drain efficiency", "%", 50],
  ["idle_w", "Supply power, keyed without drive", "W", 7],
  ["load_w", "Dummy load, continuously", "W", ""],
  ["load_short_w", "Dummy load, for a short time", "W", ""],
  ["load_short_min", "… for at most", "min", ""],
  ["load_j", "Dummy load, in one soak", "kJ", ""],
];

export function makeEstimate(changed) {
  const kept = read();
  const boxes = {};
  const rows = FIELDS.map(([name, word, unit, usual]) => {
    const box = el("input", { type: "number", min: 0, step: "any", id: `typical-${name}`, value: kept[name] ?? usual });
    box.addEventListener("input", () => {
      localStorage.setItem(KEPT, JSON.stringify(Object.fromEntries(Object.entries(boxes).map(([k, b]) => [k, b.value]))));
      changed("figures");
    });
    boxes[name] = box;
    return el("div", { class: "typical" }, el("label", { for: box.id }, word), box, el("span", {}, unit));
  });
  const facts = el("dl", { class: "facts" });
  const problems = el("ul", { class: "estimate-problems", id: "estimate-problems" });
  const rated = el("p", { class: "soft" });
  const more = el("details", {}, el("summary", {}, "Figures that it goes by"), rated, el("div", { class: "typicals" }, ...rows));
  const node = el(
    "section",
    { class: "plan-estimate" },
    el("h2", {}, "What it will ask"),
    el("div", { role: "status" }, problems), // a list that is a status too would be no list
    facts,
    more,
  );
  return { node, boxes, facts, problems, rated, more };
}

// what rack.toml says of a bay's load goes before what is typed here
export function setRated({ boxes, rated, more }, load, bay) {
  const own = load ? [`${load.load_w} W continuously`, load.load_short_w ? `${load.load_short_w} W for ${load.load_short_min} min` : "", load.load_j ? `${load.load_j / 1000} kJ in one soak` : ""].filter(Boolean).join(", ") : "";
  setText(rated, own ? `The load of ${bay} takes ${own}: rack.toml says so. The rest is typical, nothing is measured.` : "Typical figures, nothing is measured. Read the load's rating off the load, or write it into rack.toml once.");
  for (const [name, box] of Object.entries(boxes)) if (name.startsWith("load")) box.closest(".typical").hidden = Boolean(own);
  // nobody should have to search for what is asked of him
  if (!own && boxes.load_w.value === "") more.open = true;
}

function read() {
  try {
    return JSON.parse(localStorage.getItem(KEPT) ?? "{}") ?? {};
  } catch {
    return {}; // somebody else wrote there
  }
}

export function typical({ boxes }) {
  const found = {};
  for (const [name, box] of Object.entries(boxes)) {
    const value = box.value === "" ? null : Number(box.value) * (name === "load_j" ? 1000 : 1);
    if (value !== null || name.startsWith("load")) found[name] = value;
  }
  return found;
}

export function setEstimate({ facts, problems }, estimate, minutes, wrong = "") {
  const watts = (w) => `${w < 100 ? w.toFixed(1) : Math.round(w)} W`;
  const rows = estimate
    ? [
        ["lasts", long(minutes * 60)],
        ["keyed", long(estimate.key_down_s)],
        ["into the load, at most", watts(estimate.load_max_w)],
        [`into the load, worst ${long(estimate.window_s)}`, watts(estimate.load_worst_w)],
        ["into the load, mean", watts(estimate.load_mean_w)],
        ["into the load, in all", `${(estimate.load_j / 1000).toFixed(1)} kJ`],
        ["heat in the radio, at most", watts(estimate.dissipation_max_w)],
        ["heat in the radio, mean", watts(estimate.dissipation_mean_w)],
      ]
    : [];
  facts.replaceChildren(...rows.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)]));
  const bad = estimate?.problems ?? (wrong ? wrong.split("\n") : ["The text is no plan yet: mend it first."]);
  const said = bad.length ? bad : [estimate.load_max_w ? "The load takes it." : "Nothing reaches the load."];
  if ([...problems.children].map((li) => li.textContent).join() !== said.join()) problems.replaceChildren(...said.map((what) => el("li", {}, what)));
  problems.className = `estimate-problems ${bad.length ? "bad" : "good"}`;
  setText(problems.firstChild, said[0]);
}
