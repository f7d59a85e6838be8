// A supply that was cut: said on its bay's own page, with the form by which a person has it switched on again.

import { keep, kept, send } from "./ask.js";
import { el, setAttr, setText } from "./dom.js";
import { draws } from "./parts.js";
import { whyCut } from "./words.js";

let card = null;

function drawRelease({ bay, silent }) {
  const place = document.getElementById("bay-release");
  if (!place || !bay || bay.bay !== place.dataset.bay) return;
  if (!bay.supply_cut) {
    if (card && place.contains(card.node)) {
      const held = card.node.contains(document.activeElement);
      place.replaceChildren();
      card = null;
      if (held) document.querySelector("main h1").focus();
    }
    return;
  }
  if (!card || !place.contains(card.node)) {
    card = build(bay.bay);
    place.replaceChildren(card.node);
    if (location.hash === "#bay-release") card.node.scrollIntoView();
  }
  setText(card.why, whyCut(bay));
  setAttr(card.node, "class", silent || bay.stale ? "release stale" : "release");
}

function build(bay) {
  const who = el("input", { id: "release-who", name: "person", type: "text", maxlength: 80, required: "", autocomplete: "name", value: kept("person") ?? "" });
  const note = el("input", { id: "release-note", name: "note", type: "text", maxlength: 2000, required: "", autocomplete: "off" });
  const why = el("p", { class: "release-why" });
  const said = el("p", { class: "tag-said", role: "alert" });
  const form = el(
    "form",
    { class: "release-form" },
    el("div", { class: "field" }, el("label", { for: "release-who" }, "Your name, for the history"), who),
    el("div", { class: "field" }, el("label", { for: "release-note" }, "What kept it on, and what was done about it"), note),
    el("button", { type: "submit", class: "go" }, "Switch the supply on again"),
    said,
  );
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    keep("person", who.value.trim());
    setText(said, "");
    const answer = await send(`/bay/${encodeURIComponent(bay)}/release`, { person: who.value.trim(), note: note.value.trim() });
    if (answer.failed !== undefined) setText(said, `Not done. ${answer.failed}`);
  });
  const head = el("h2", { id: "release-head" }, el("i", { class: "shape shape-cut", "aria-hidden": "true" }), "The supply of this radio is cut");
  const caution = el("p", { class: "caution" }, "Switched on with the fault still in it, the radio may transmit and heat at once: hands off output and load, the fuse in place, someone beside it.");
  return { node: el("section", { class: "release", "aria-labelledby": "release-head" }, head, why, caution, form), why };
}

draws(drawRelease);
