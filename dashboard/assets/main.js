// Where the page's own scripts begin. Orders first: they must work whatever else fails.

import { drawAlerts, followAlerts } from "./alerts.js";
import { setAttr, setText } from "./dom.js";
import { addHatches } from "./hatch.js";
import { run } from "./live.js";
import { degreesChoice, helpMenu } from "./menu.js";
import { listen } from "./orders.js";
import { drawParts } from "./parts.js";
import { speak } from "./spoken.js";
import { long } from "./words.js";

listen();
addHatches();
helpMenu();
degreesChoice();
for (const link of document.querySelectorAll(".top nav a")) {
  if (link.pathname === location.pathname) link.setAttribute("aria-current", "page");
}
run(draw);
followAlerts();

function draw(view) {
  drawPulse(view);
  if (view.rack) speak(view.rack.bays);
  drawAlerts(view);
  drawParts(view);
}

// whether what stands on the page is true now, in words
function drawPulse({ rack, ageS, silent, error }) {
  const pulse = document.getElementById("pulse");
  const keyed = rack?.bays.filter((b) => b.key_lent || b.key_seen).length ?? 0;
  setAttr(pulse, "class", silent ? "pulse silent" : "pulse");
  setText(pulse, silent ? `Silent for ${long(ageS)}` : rack ? `${rack.rack} · ${keyed} keyed` : "Asking …");
  const outage = document.getElementById("outage");
  setAttr(outage, "class", silent ? "outage shown" : "outage");
  const known = rack ? "The figures below are old" : "Nothing is known of the rack";
  const why = error || "the daemon does not answer";
  setAttr(document.documentElement, "data-silent", silent ? "yes" : null);
  // the age is on every shelf and in the head; this sentence stays as it is, or it would be read out every second
  setText(outage, silent ? `${known}: ${why}${/[.?!]$/.test(why) ? "" : "."} Unkey may still reach the daemon; if in doubt, pull the key lines.` : "");
}
