// A bay's form knows who is booked in: the soak of a booking takes number and unit from its sheet.

import { get } from "./ask.js";
import { el } from "./dom.js";
import { draws } from "./parts.js";

let asking = null;

async function offerBookings() {
  const select = document.getElementById("booking");
  if (!select || asking === select) return;
  asking = select;
  try {
    const listed = await get("/sheet/list");
    select.append(...listed.map((b) => el("option", { value: b.booking }, `${b.number} · ${b.unit}${b.soaks ? ` (${b.soaks} ${b.soaks === 1 ? "soak" : "soaks"} before)` : ""}`)));
  } catch {
    asking = null; // the daemon is silent, which is said elsewhere: it is asked again
    return;
  }
  // what stands on the sheet is not typed a second time, and can't be typed otherwise
  const follow = () => (document.getElementById("by-hand").disabled = select.value !== "");
  select.addEventListener("change", follow);
}

draws(offerBookings);
