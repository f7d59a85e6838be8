// The rack: its shelves in the order in which they stand, or the one shelf that a page asks for.

import { setText } from "./dom.js";
import { hatchKey } from "./hatch.js";
import { draws } from "./parts.js";
import { makeShelf, setShelf } from "./shelf.js";

const shelves = new Map();

function drawRack({ rack, ageS, silent, changed }) {
  const place = document.getElementById("rack");
  if (!rack) return;
  const note = document.getElementById("rack-note");
  if (note) setText(note, rack.note);
  hatchKey(document.getElementById("hatch-key"));
  if (!place) return;
  const { bay: only, job } = place.dataset;
  // a job's page shows its bay as long as that job is in it: what comes after must not be unkeyed from here by mistake
  const over = job !== undefined && !rack.bays.some((b) => b.bay === only && String(b.job) === job);
  if (place.parentElement.hidden !== over) place.parentElement.hidden = over;
  if (over) return;
  const bays = only === undefined ? rack.bays : rack.bays.filter((b) => b.bay === only);
  if (!bays.length) {
    setText(place, only === undefined ? "This rack has no bays: name them in rack.toml and start the daemon again." : `There is no bay “${only}” in this rack.`);
    return;
  }
  const anew = place.childElementCount !== bays.length || bays.some((b, i) => shelves.get(b.bay)?.node !== place.children[i]);
  if (anew) {
    shelves.clear();
    for (const bay of bays) shelves.set(bay.bay, makeShelf(bay.bay));
    place.style.setProperty("--bays", bays.length);
    place.replaceChildren(...bays.map((b) => shelves.get(b.bay).node));
  }
  for (const bay of bays) if (anew || changed === null || changed.has(bay.bay)) setShelf(shelves.get(bay.bay), bay, ageS, silent);
}

draws(drawRack);
