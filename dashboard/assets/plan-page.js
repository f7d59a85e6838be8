// The page of plans: the band, its text beside it, what it will ask of radio and load, and a start on a bay.
// Band and text are two faces of one plan: a change of either is judged by the daemon, and shown in the other.

import { el, setAttr, setText } from "./dom.js";
import { post } from "./orders.js";
import { draws } from "./parts.js";
import { drawBand, makeBand, step, total } from "./plan-band.js";
import { makeEstimate, setEstimate, setRated, typical } from "./plan-estimate.js";
import { makePhaseForm, setPhaseForm } from "./plan-phase.js";
import { phasesOf, writePlan } from "./plan-text.js";

const JUDGE_MS = 150;
const LEAST_MIN = 0.05;

let page = null;

function drawPlans({ rack }) {
  const place = document.getElementById("plan-editor");
  if (!place) return;
  if (page?.place !== place) open(place);
  const bays = (rack?.bays ?? []).map((bay) => bay.bay);
  if (bays.join() === page.bays) return;
  page.bays = bays.join();
  page.bay.replaceChildren(...bays.map((bay) => el("option", { value: bay }, bay)));
  judgeSoon(page.judged ? "bay" : "text"); // its load is now known; the first look, if still on its way, is asked anew
}

function open(place) {
  page = { place, phases: [], name: "", chosen: 0, past: [], judged: null, asked: 0, bays: null };
  page.title = el("input", { id: "plan-name", type: "text", maxlength: 63 });
  page.save = button("Save this plan", "quiet", () => save(false));
  page.undo = button("Undo", "quiet", undo);
  page.said = el("p", { class: "plan-said", role: "status" });
  page.band = makeBand({ choose, change: { get: () => page.phases, stretch, move } });
  page.form = makePhaseForm({ add, remove, move: (by) => move(page.chosen, page.chosen + by), stretch: (by) => longer(by), set });
  page.text = el("textarea", { id: "plan-text", rows: 18, spellcheck: "false" });
  page.wrong = el("pre", { class: "form-said", role: "status" });
  page.estimate = makeEstimate(judgeSoon);
  page.bay = el("select", { id: "start-bay" });
  page.number = el("input", { id: "start-number", type: "text", maxlength: 100 });
  page.unit = el("input", { id: "start-unit", type: "text", maxlength: 100 });
  page.start = el("button", { type: "submit", class: "go" }, "Start this plan");
  page.startSaid = el("div", { class: "start-said", role: "status" });
  place.replaceChildren(
    el("div", { class: "plan-head" }, field("Name of the plan", page.title), page.save, page.undo, page.said),
    page.band.node,
    page.form.node,
    el("div", { class: "plan-columns" }, page.estimate.node, startForm(), el("section", {}, el("h2", {}, "As text"), label(page.text, "The same plan as the text of its file"), page.text, page.wrong)),
  );
  page.bay.addEventListener("change", () => judgeSoon("bay"));
  page.title.addEventListener("input", () => edited(page.phases, page.title.value));
  page.text.addEventListener("input", () => judgeSoon("text"));
  page.band.blocks.addEventListener("keydown", keys);
  page.text.value = sessionStorage.getItem(draftKey()) ?? place.dataset.text;
  judge("text");
}

const draftKey = () => `keysoak plan ${page.place.dataset.file}`;
const button = (word, look, act) => {
  const made = el("button", { type: "button", class: look }, word);
  made.addEventListener("click", act);
  return made;
};
const label = (box, word) => el("label", { for: box.id, class: "unseen" }, word);
const field = (word, box) => el("div", { class: "field" }, el("label", { for: box.id }, word), box);

function startForm() {
  const form = el(
    "form",
    { class: "start" },
    el("h2", {}, "Start it"),
    el("p", { class: "caution" }, "The radio stands on its dummy load, the load is rated for it, and nobody touches either."),
    field("Bay", page.bay), field("Job number", page.number), field("Unit", page.unit), page.startSaid, page.start,
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    start();
  });
  return form;
}

// the band changes -----------------------------------------------------------------------------------------------

function edited(phases, name = page.name) {
  page.past.push({ phases: page.phases, name: page.name });
  page.past = page.past.slice(-200);
  Object.assign(page, { phases, name });
  page.chosen = Math.min(page.chosen, phases.length - 1);
  page.text.value = writePlan(name, phases, page.text.value);
  draw();
  judgeSoon("band");
}

function undo() {
  const before = page.past.pop();
  if (!before) return;
  edited(before.phases, before.name);
  page.past.pop();
  page.title.value = page.name;
  draw();
}

function choose(i) {
  if (i === page.chosen) return;
  page.chosen = i;
  draw();
}

function focus(i) {
  choose(Math.max(0, Math.min(page.phases.length - 1, i)));
  page.band.blocks.children[page.chosen]?.focus();
}

function stretch(i, minutes) {
  if (minutes !== page.phases[i].minutes) edited(page.phases.map((p, k) => (k === i ? { ...p, minutes } : p)));
}

function longer(by) {
  const unit = step(page.phases), now = page.phases[page.chosen].minutes;
  stretch(page.chosen, Math.max(LEAST_MIN, by < 0 && now <= unit ? now / 2 : now + by * unit));
}

function move(from, to) {
  if (to < 0 || to >= page.phases.length || from === to) return from;
  const phases = [...page.phases];
  phases.splice(to, 0, ...phases.splice(from, 1));
  page.chosen = to;
  edited(phases);
  page.band.blocks.children[to].focus();
  return to;
}

function add() {
  const phases = [...page.phases];
  phases.splice(page.chosen + 1, 0, { drive: "off", minutes: Math.max(1, step(page.phases) * 4), on_s: null, off_s: null, ask: null });
  edited(phases);
  focus(page.chosen + 1);
}

function remove() {
  if (page.phases.length < 2) return;
  edited(page.phases.filter((_, i) => i !== page.chosen));
  focus(page.chosen);
}

function set(fields) {
  edited(page.phases.map((p, i) => (i === page.chosen ? { ...p, ...fields } : p)));
}

const KEYS = {
  ArrowRight: ({ altKey }) => (altKey ? move(page.chosen, page.chosen + 1) : focus(page.chosen + 1)),
  ArrowLeft: ({ altKey }) => (altKey ? move(page.chosen, page.chosen - 1) : focus(page.chosen - 1)),
  Home: () => focus(0),
  End: () => focus(page.phases.length - 1),
  "+": () => longer(1),
  "=": () => longer(1),
  "-": () => longer(-1),
  Delete: remove,
  Insert: add,
};

function keys(event) {
  const act = event.ctrlKey || event.metaKey ? (event.key === "z" ? undo : null) : KEYS[event.key];
  if (!act) return;
  event.preventDefault();
  act(event);
}

// the daemon judges ----------------------------------------------------------------------------------------------

let soon = 0;

function judgeSoon(from) {
  clearTimeout(soon);
  soon = setTimeout(() => judge(from), JUDGE_MS);
}

async function judge(from) {
  const mine = (page.asked += 1);
  sessionStorage.setItem(draftKey(), page.text.value);
  const said = await post("/plan/judge", { text: page.text.value, bay: page.bay.value, typical: typical(page.estimate) });
  if (mine !== page.asked) return; // a newer one is on its way
  page.judged = said.failed === undefined ? said : null;
  setText(page.wrong, said.failed ?? said.problems.join("\n"));
  setRated(page.estimate, said.rated ?? null, page.bay.value);
  if (from === "text" && said.plan) {
    Object.assign(page, { phases: phasesOf(said.plan), name: said.plan.name });
    page.title.value = page.name;
    page.chosen = Math.min(page.chosen, page.phases.length - 1);
  }
  draw();
}

function draw() {
  const estimate = page.judged?.estimate ?? null;
  page.band.node.hidden = !page.phases.length;
  drawBand(page.band, page.phases, page.chosen, estimate, page.judged?.rated?.load_w ?? typical(page.estimate).load_w);
  setPhaseForm(page.form, page.phases[page.chosen], page.chosen, page.phases.length);
  setEstimate(page.estimate, estimate, total(page.phases));
  page.undo.disabled = !page.past.length;
  const stops = !page.judged || page.judged.problems.length || estimate?.problems.length;
  page.start.disabled = Boolean(stops);
  page.save.disabled = !page.judged?.plan;
  setAttr(page.start, "aria-describedby", stops ? "estimate-problems" : null);
}

// what a person orders -------------------------------------------------------------------------------------------

async function save(replace) {
  const said = await post("/plan/save", { text: page.text.value, replace });
  page.said.replaceChildren(said.failed ?? `Saved as “${page.name}”.`);
  if (said.failed?.includes("replace that one")) page.said.append(" ", button("Replace it", "quiet", () => save(true)));
  if (said.failed !== undefined) return;
  sessionStorage.removeItem(draftKey());
  page.place.dataset.file = said.done;
  history.replaceState(null, "", `/plans/${said.done}`);
}

async function start() {
  page.start.disabled = true;
  const body = { text: page.text.value, typical: typical(page.estimate), bay: page.bay.value, number: page.number.value, unit: page.unit.value };
  const said = await post("/plan/start", body);
  page.startSaid.className = `start-said ${said.failed === undefined ? "good" : "bad"}`;
  page.startSaid.replaceChildren(said.failed ?? `${said.done}. `);
  if (said.failed === undefined) page.startSaid.append(el("a", { href: `/bay/${encodeURIComponent(body.bay)}` }, `Watch ${body.bay}`));
  draw();
}

draws(drawPlans);
