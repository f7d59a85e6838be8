// What the rack does now: a web socket over which only what changed comes. A socket and not a held request, since a
// browser gives a host six connections and the red button must never wait for one of them.
// Whatever is out (daemon, dashboard, network), it is tried again twice a second, so that the page heals by itself.

import { applyPatch } from "./mirror.js";

const AGAIN_MS = 500;
// the dashboard speaks twice a second: a socket that says nothing for so long is dead, whatever the network believes
const DEAD_MS = 2400;
const HELD_UP_MS = 1500;
const HEAR_MS = 600;
// loud within 3 s of the last word
const STALE_S = 2.4;

const state = { rack: null, error: "", answered: performance.now(), ageS: 0 };
let details = {}; // readings, rules and link of the one bay whose page this is
let lastWord = 0;

// seconds since the daemon last said how things are
export function ageS() {
  return state.ageS + (performance.now() - state.answered) / 1000;
}

// seconds since a bay's last frame; null when there never was one
export function bayAgeS(bay) {
  return bay.heard === null ? null : (performance.now() - bay.heard) / 1000;
}

// what to draw; `changed` has the names of the bays that moved, or is null where all must be looked at
export function view(changed = null) {
  const whole = state.rack?.bays.find((b) => b.bay === details.bay);
  const bay = whole && details.readings ? { ...whole, ...details } : null;
  return { rack: state.rack, bay, error: state.error, ageS: ageS(), silent: ageS() > STALE_S, changed };
}

function take(said) {
  lastWord = performance.now();
  state.error = said.error;
  // before the daemon has said anything there is nothing that could be of any age
  if (said.order || state.rack) Object.assign(state, { ageS: said.age_s, answered: lastWord });
  state.rack = applyPatch(state.rack, said, lastWord);
  if (said.details?.bay === details.bay) details = { ...details, ...said.details };
  return said.details ? null : new Set(Object.keys(said.bays ?? {}));
}

// words may come faster than a slow machine draws: what came meanwhile is drawn at once, with the next picture
let changed = new Set();
let due = false;

function soon(draw, bays) {
  changed = bays === null || changed === null ? null : new Set([...changed, ...bays]);
  if (due) return;
  due = true;
  requestAnimationFrame(() => {
    const now = changed;
    [changed, due] = [new Set(), false];
    draw(view(now));
  });
}

function connect(draw) {
  const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
  let ended = false;
  let asked = null;
  lastWord = performance.now();
  const ask = () => {
    const bay = document.getElementById("bay-details")?.dataset.bay ?? null;
    if (bay === asked) return;
    asked = bay;
    details = { bay };
    socket.send(JSON.stringify({ bay }));
  };
  socket.onmessage = ({ data }) => {
    if (ended) return; // the next one has begun
    soon(draw, take(JSON.parse(data)));
    ask();
  };
  const end = (why) => {
    if (ended) return;
    ended = true;
    clearInterval(watch);
    state.error = `the dashboard does not answer (${why})`;
    draw(view());
    socket.close();
    setTimeout(() => tryAgain(draw), AGAIN_MS);
  };
  socket.onclose = () => end("its connection ended");
  let looked = performance.now();
  const watch = setInterval(() => {
    const now = performance.now();
    // a page that stood still itself (a large script, a sleep) first hears what has come meanwhile
    if (now - looked > HELD_UP_MS) lastWord = Math.max(lastWord, now - DEAD_MS + HEAR_MS);
    looked = now;
    if (now - lastWord > DEAD_MS) end("no word in time");
  }, 200);
}

// A browser makes a host whose sockets failed wait longer and longer for the next (Chromium: up to 5 s): so a plain
// question goes first, whose answer is shown at once. Where no socket can be had at all, the page lives on these.
async function tryAgain(draw) {
  try {
    const answer = await fetch("/live", { signal: AbortSignal.timeout(DEAD_MS), cache: "no-store" });
    if (!answer.ok) throw new Error(`it answered ${answer.status}`);
    soon(draw, take(await answer.json()));
    connect(draw);
  } catch (fault) {
    state.error = `the dashboard does not answer (${fault.name === "TimeoutError" ? "no answer in time" : fault.message})`;
    draw(view());
    setTimeout(() => tryAgain(draw), AGAIN_MS);
  }
}

export function run(draw) {
  setInterval(() => draw(view()), AGAIN_MS); // ages run on while nothing comes
  connect(draw);
}
