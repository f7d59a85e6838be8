// A bay's own page: every channel, every rule, its link; and the plan file that a person chooses.

import { el, setText } from "./dom.js";
import { DASH, fixed, shown, signOf, told } from "./words.js";

let drawn = "";

export function drawBay({ bay, silent }) {
  const place = document.getElementById("bay-details");
  if (!place || !bay || bay.bay !== place.dataset.bay) return;
  const key = JSON.stringify([bay.readings, bay.rules, bay.link, bay.tags.length, silent, bay.stale]);
  if (key === drawn && place.childElementCount) return;
  drawn = key;
  place.classList.toggle("stale", silent || bay.stale);
  place.replaceChildren(
    table("Channels", ["channel", "value", "quality"], bay.readings.map((r) => [r.channel, value(r), r.quality])),
    table("Alerts", ["at", "rule", "what"], bay.tags.map((t) => [`${(t.at_s / 60).toFixed(1)} min`, `${t.rule} ${t.event}`, told(t.text)]).reverse(), "None."),
    table("Rules", ["rule", "state", "why"], bay.rules.map((r) => [r.rule, r.state, r.why])),
    table("Link", ["", ""], bay.link ? Object.entries(bay.link).map(([k, v]) => [k.replaceAll("_", " "), said(v)]) : []),
  );
}

function value(reading) {
  if (reading.value === null) return DASH;
  if (reading.unit === "boolean") return reading.value ? "yes" : "no";
  return `${fixed(shown(reading.value, reading.unit), 2)} ${signOf(reading.unit)}`;
}

function said(fact) {
  if (typeof fact === "boolean") return fact ? "yes" : "no";
  return fact === "" ? DASH : String(fact);
}

function table(title, heads, rows, nothing = "Nothing yet.") {
  const section = el("section", {}, el("h2", {}, title));
  if (!rows.length) {
    section.append(el("p", {}, nothing));
    return section;
  }
  const body = el("tbody", {}, ...rows.map((cells) => el("tr", {}, ...cells.map((c, i) => el(i ? "td" : "th", i ? {} : { scope: "row" }, c)))));
  const head = heads.some(Boolean) ? [el("thead", {}, el("tr", {}, ...heads.map((h) => el("th", { scope: "col" }, h))))] : [];
  section.append(el("table", { class: "plain" }, ...head, body));
  return section;
}

// the form of a soak: a ready plan, or a file of one's own, into the text that is sent
export function helpForm() {
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-fill]");
    if (button) fill(button.dataset.fill, button.dataset.text);
  });
  document.addEventListener("change", async (event) => {
    const target = event.target.closest("input[type=file][data-fills]");
    if (target?.files.length) fill(target.dataset.fills, await target.files[0].text());
  });
}

export function addFileBoxes() {
  for (const slot of document.querySelectorAll("[data-file-for]:empty")) {
    const box = el("input", { type: "file", accept: ".toml,text/plain", "data-fills": slot.dataset.fileFor, id: "plan-file-box" });
    slot.append(el("label", { for: "plan-file-box" }, "Or a plan file"), box);
  }
}

function fill(id, text) {
  const box = document.getElementById(id);
  // the box belongs to React: it must hear of the change, or it puts its own text back
  Object.getOwnPropertyDescriptor(HTMLTextAreaElement.prototype, "value").set.call(box, text);
  box.dispatchEvent(new Event("input", { bubbles: true }));
}
