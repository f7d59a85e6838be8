// The search box over the list of jobs. It is ours: a box that React draws puts back what it knew last while somebody
// types faster than the page keeps up, and the letters fall in another order.

import { el } from "./dom.js";
import { draws } from "./parts.js";

const KEPT = "keysoak jobs find";

function offerSearch() {
  const slot = document.querySelector(".find-slot");
  if (!slot || slot.childElementCount || !document.getElementById("jobs-grid")) return;
  const box = el("input", { id: "jobs-text", type: "search" });
  slot.replaceChildren(el("label", { for: box.id }, "Search"), box);
  const find = () => window.dash_clientside.set_props("jobs-find", { data: box.value });
  box.addEventListener("input", () => {
    sessionStorage.setItem(KEPT, box.value);
    find();
  });
  box.value = sessionStorage.getItem(KEPT) ?? "";
  if (box.value) find();
}

draws(offerSearch);
