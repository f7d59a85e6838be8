// The form that starts a soak: a plan to begin from, drawn as it is typed, and what it asks of the bay's load.

import { get } from "./ask.js";
import { el, svg } from "./dom.js";
import { post } from "./orders.js";
import { draws } from "./parts.js";
import { makeEstimate, setEstimate, setRated, typical } from "./plan-estimate.js";
import { drawStrip } from "./strip.js";

const JUDGE_MS = 250;
const AGAIN_MS = 2000;

let page = null;

function helpStart() {
  document.addEventListener("change", async (event) => {
    const { target } = event;
    if (target.id === "plan-choice" && target.value) fill(page.plans.find((p) => p.file === target.value).text);
    if (target.id === "plan-file-box" && target.files.length) fill(await target.files[0].text());
  });
}

function offerPlans() {
  const place = document.getElementById("start");
  if (!place) return;
  if (page?.place !== place) open(place);
  if (!page.plans && performance.now() - page.askedMs > AGAIN_MS) askPlans();
}

function open(place) {
  const box = el("input", { type: "file", accept: ".toml,text/plain", id: "plan-file-box" });
  const text = el("textarea", { id: "plan", name: "plan", rows: 9, spellcheck: "false" });
  place.querySelector("#by-hand").replaceChildren(
    field("Job number", el("input", { id: "number", name: "number", type: "text", maxlength: 100 })),
    field("Unit", el("input", { id: "unit", name: "unit", type: "text", maxlength: 100 })),
  );
  place.querySelector(".file-slot").replaceChildren(labelled("Or a plan file", box), box);
  place.querySelector(".plan-slot").replaceChildren(labelled("Text of the plan", text), text);
  const picture = svg("svg", { class: "strip", role: "img", "aria-label": "No plan yet" });
  place.querySelector(".plan-preview").replaceChildren(picture);
  page = { place, picture, plans: null, askedMs: -AGAIN_MS, asked: 0, soon: 0, text };
  page.estimate = makeEstimate(judgeSoon);
  place.querySelector(".estimate-slot").replaceChildren(page.estimate.node);
  page.text.addEventListener("input", () => {
    const choice = document.getElementById("plan-choice");
    if (page.plans?.find((p) => p.file === choice.value)?.text !== page.text.value) choice.value = "";
    judgeSoon();
  });
  // the order is sent with the figures by which it was judged
  place.querySelector("form").more = () => ({ typical: typical(page.estimate) });
}

const labelled = (word, box) => el("label", { for: box.id }, word);
const field = (word, box) => el("div", { class: "field" }, labelled(word, box), box);

async function askPlans() {
  page.askedMs = performance.now();
  try {
    const plans = await get("/plan/list");
    page.plans = plans;
    const group = (label, own) => {
      const found = plans.filter((p) => p.own === own);
      return found.length ? [el("optgroup", { label }, ...found.map((p) => el("option", { value: p.file }, p.name)))] : [];
    };
    document.getElementById("plan-choice").append(...group("saved here", true), ...group("supplied", false));
    if (page.text.value) return;
    // the shortest: a first try costs little
    const first = plans.find((p) => !p.own);
    document.getElementById("plan-choice").value = first.file;
    fill(first.text);
  } catch {
    // the daemon is silent, which is said elsewhere: it is asked again
  }
}

function fill(text) {
  page.text.value = text;
  page.text.dispatchEvent(new Event("input"));
}

function judgeSoon() {
  clearTimeout(page.soon);
  page.soon = setTimeout(judge, JUDGE_MS);
}

async function judge() {
  const mine = (page.asked += 1);
  const here = page;
  const said = await post("/plan/judge", { text: page.text.value, bay: page.place.dataset.bay, typical: typical(page.estimate) });
  if (here !== page || mine !== page.asked) return; // a newer one is on its way
  setRated(page.estimate, said.rated ?? null, page.place.dataset.bay);
  const wrong = said.failed ?? said.problems.join("\n");
  setEstimate(page.estimate, said.estimate ?? null, said.plan ? said.plan.total_s / 60 : 0, wrong);
  preview(said.plan ?? null);
}

function preview(plan) {
  const { clientWidth: width, clientHeight: height } = page.picture;
  if (!width) return;
  page.picture.setAttribute("aria-label", plan ? `The plan: ${plan.phases.map((p) => p.drive).join(", ")}` : "No plan");
  drawStrip(page.picture, { bay: "plan", plan, figures: { heatsink_limit_c: null }, strip: [], tags: [], forecast: [], elapsed_s: 0 }, width, height);
}

helpStart();
draws(offerPlans);
