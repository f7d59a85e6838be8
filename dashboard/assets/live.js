// What the rack does now. One question about twice a second; whatever is out (daemon, dashboard, network) is asked
// again at the same pace, so that the page heals by itself. Ages run on here while nothing answers.

const EVERY_MS = 500;
const HIDDEN_MS = 3000;
const GIVE_UP_MS = 2500;
// with the half second between two looks: loud within 3 s of the last answer
const STALE_S = 2.4;

const state = { rack: null, bay: null, error: "", answered: performance.now(), ageS: 0 };
let wake = () => {};

// seconds since the daemon last said how things are
export function ageS() {
  return state.ageS + (performance.now() - state.answered) / 1000;
}

// seconds since a bay's last frame; null when there never was one
export function bayAgeS(bay) {
  return bay.age_s === null ? null : bay.age_s + ageS();
}

export function view() {
  const silent = ageS() > STALE_S;
  return { rack: state.rack, bay: state.bay, error: state.error, ageS: ageS(), silent };
}

function details() {
  return document.getElementById("bay-details")?.dataset.bay ?? null;
}

async function ask() {
  const bay = details();
  const path = bay === null ? "/live" : `/live?bay=${encodeURIComponent(bay)}`;
  const answer = await fetch(path, { signal: AbortSignal.timeout(GIVE_UP_MS), cache: "no-store" });
  if (!answer.ok) throw new Error(`it answered ${answer.status}`);
  const said = await answer.json();
  // an answer that is older than what stands here already tells only that the daemon is silent
  if (said.rack !== null && said.age_s <= ageS()) {
    Object.assign(state, { rack: said.rack, ageS: said.age_s, answered: performance.now() });
    if (said.bay) state.bay = said.bay;
  }
  state.error = said.error;
}

export async function run(draw) {
  const look = () => draw(view());
  document.addEventListener("visibilitychange", () => wake());
  setInterval(look, EVERY_MS); // ages run on while an answer is awaited
  for (;;) {
    const asked = performance.now();
    try {
      await ask();
    } catch (fault) {
      state.error = `the dashboard does not answer (${fault.name === "TimeoutError" ? "no answer in time" : fault.message})`;
    }
    look();
    const pause = (document.hidden ? HIDDEN_MS : EVERY_MS) - (performance.now() - asked);
    await new Promise((go) => {
      wake = go;
      setTimeout(go, Math.max(100, pause));
    });
  }
}

// an order was given: look at once
export function lookNow() {
  wake();
}
