// What a screen reader hears of the rack, on every page.

import { sentence, stateOf } from "./words.js";

const spoken = new Map();

// a change of state is spoken once, politely; the figures are not
export function speak(bays) {
  const news = [];
  for (const bay of bays) {
    const state = `${stateOf(bay).word}${bay.stale ? ", silent" : ""}`;
    const keying = new Set(["keyed", "resting"]);
    const before = spoken.get(bay.bay);
    if (before !== undefined && before !== state && !(keying.has(before) && keying.has(state))) {
      news.push(`${bay.bay}: ${state}. ${bay.stale ? "" : sentence(bay)}`);
    }
    spoken.set(bay.bay, state);
  }
  if (news.length) document.getElementById("speaks").textContent = news.join(" ");
}
