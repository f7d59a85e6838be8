// The chosen phase in figures: everything that the band shows of it, and what a pointer or a key does to it.

import { el, setText } from "./dom.js";
import { DRIVES } from "./hatch.js";

export function makePhaseForm({ add, remove, move, stretch, set }) {
  const form = { title: el("h2", { id: "phase-title" }) };
  const button = (word, name, act) => {
    const made = el("button", { type: "button", class: "quiet", "aria-label": name }, word);
    made.addEventListener("click", act);
    return made;
  };
  const box = (id, word, made, unit) => {
    made.id = id;
    return el("div", { class: "field" }, el("label", { for: id }, word, unit ? el("small", {}, ` ${unit}`) : ""), made);
  };
  form.drive = el("select", {}, ...DRIVES.map((drive) => el("option", { value: drive }, drive)));
  form.minutes = el("input", { type: "number", min: 0.05, max: 10080, step: "any" });
  form.on = el("input", { type: "number", min: 1, max: 604800, step: "any", placeholder: "throughout" });
  form.off = el("input", { type: "number", min: 1, max: 604800, step: "any", placeholder: "never" });
  form.ask = el("input", { type: "text", maxlength: 200, placeholder: "nothing" });
  form.earlier = button("◀ Earlier", "Move the phase earlier", () => move(-1));
  form.later = button("Later ▶", "Move the phase later", () => move(1));
  form.remove = button("Remove", "Remove the phase", remove);
  form.drive.addEventListener("change", () => set(form.drive.value === "off" ? { drive: "off", on_s: null, off_s: null } : { drive: form.drive.value }));
  form.minutes.addEventListener("change", () => form.minutes.value > 0 && set({ minutes: Number(form.minutes.value) }));
  const cycle = () => {
    const on = Number(form.on.value) || null, off = Number(form.off.value) || null;
    if (on && off) set({ on_s: on, off_s: off });
    else if (!on && !off) set({ on_s: null, off_s: null });
  };
  form.on.addEventListener("change", cycle);
  form.off.addEventListener("change", cycle);
  form.ask.addEventListener("change", () => set({ ask: form.ask.value.trim() || null }));
  form.node = el(
    "section",
    { class: "plan-phase", "aria-labelledby": "phase-title" },
    form.title,
    el("div", { class: "plan-tools" }, button("+ Add after it", "Add a phase after it", add), form.remove, form.earlier, form.later,
      button("− Shorter", "Make the phase shorter", () => stretch(-1)), button("+ Longer", "Make the phase longer", () => stretch(1))),
    el("div", { class: "plan-fields" }, box("phase-drive", "Drive", form.drive), box("phase-minutes", "Lasts", form.minutes, "min"),
      box("phase-on", "Keyed for", form.on, "s"), box("phase-off", "then rested for", form.off, "s"),
      box("phase-ask", "Asks before it begins", form.ask)),
    el("p", { class: "soft" }, "In the band: arrow keys choose, Alt with an arrow key moves, + and − stretch, Insert adds, Delete removes. Drag a block to move it, its right edge to stretch it."),
  );
  return form;
}

export function setPhaseForm(form, phase, i, count) {
  if (!phase) return;
  setText(form.title, `Phase ${i + 1} of ${count}`);
  const put = (box, value) => {
    if (document.activeElement !== box || document.activeElement.tagName === "SELECT") box.value = value ?? "";
  };
  put(form.drive, phase.drive);
  put(form.minutes, Number(phase.minutes.toFixed(3)));
  put(form.on, phase.on_s);
  put(form.off, phase.off_s);
  put(form.ask, phase.ask);
  for (const box of [form.on, form.off]) box.disabled = phase.drive === "off";
  form.remove.disabled = count < 2;
  form.earlier.disabled = i === 0;
  form.later.disabled = i === count - 1;
}
