// The sound: made here, no file. A browser lets a page sound only after a press of its viewer; the page says so until
// then. It sounds for as long as somebody must be told, and can be muted for a time, never for good.

import { keep, kept } from "./ask.js";

export const MUTES_MIN = [5, 15, 60];
const LONGEST_MS = 60 * 60000;

// what each sounds like: pulses of these frequencies, and how often they come
const PULSE_S = 0.18;
const CALLS = {
  trip: { hz: [880, 660, 880, 660, 880], everyS: 5 },
  warning: { hz: [660, 660], everyS: 20 },
  advisory: { hz: [520], everyS: 60 },
  silence: { hz: [440, 330], everyS: 20 },
};

let sound = null;
let calling = null; // one of CALLS, or null
let nextS = 0;
let played = 0;

// any press on the page will do; it costs nothing and is what the browser wants
export function listenForAPress() {
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, arm, { passive: true });
  arm();
}

// the browser may let a page sound that was reached by a press on another of ours
function arm() {
  if (!navigator.userActivation?.hasBeenActive) return;
  sound ??= new AudioContext();
  if (sound.state === "suspended") sound.resume();
  if (sound.state === "running") for (const kind of ["pointerdown", "keydown"]) document.removeEventListener(kind, arm);
}

export const armed = () => sound?.state === "running";

export function mute(minutes) {
  keep("muted", JSON.stringify({ since: Date.now(), until: Date.now() + minutes * 60000 }));
}

export function unmute() {
  keep("muted", "");
  nextS = 0;
}

// how long it is still muted, in ms. A clock that was set back, or a hand in the browser's store, mutes no longer.
export function mutedMs() {
  try {
    const { until } = JSON.parse(kept("muted") || "{}");
    const left = until - Date.now();
    return left > 0 && left <= LONGEST_MS ? left : 0;
  } catch {
    return 0;
  }
}

function since() {
  return JSON.parse(kept("muted")).since;
}

// whom there is to call: the alerts that nobody has acknowledged, and whether the daemon is silent
export function call(unseen, silent) {
  const worst = ["trip", "warning", "advisory"].find((p) => unseen.some((a) => a.priority === p));
  calling = worst ?? (silent ? "silence" : null);
  // a mute is for what was heard: a trip after it sounds all the same
  if (mutedMs() && unseen.some((a) => a.priority === "trip" && raisedMs(a) > since())) unmute();
}

const raisedMs = (alert) => Math.max(...alert.history.filter((c) => c.told).map((c) => c.time_ns / 1e6), alert.raised_ns / 1e6);

export function tick() {
  if (calling === null) {
    nextS = 0;
    return;
  }
  if (!armed() || mutedMs() || performance.now() / 1000 < nextS) return;
  nextS = performance.now() / 1000 + CALLS[calling].everyS - 0.5;
  play(CALLS[calling].hz);
}

export function tryOut() {
  arm();
  play(CALLS.warning.hz);
}

function play(hz) {
  if (!armed()) return;
  played += 1;
  hz.forEach((f, i) => {
    const at = sound.currentTime + 0.05 + i * PULSE_S * 1.4;
    const tone = new OscillatorNode(sound, { type: "triangle", frequency: f });
    const loud = new GainNode(sound, { gain: 0 });
    loud.gain.setTargetAtTime(0.5, at, 0.012); // no click at either end
    loud.gain.setTargetAtTime(0, at + PULSE_S, 0.02);
    tone.connect(loud).connect(sound.destination);
    tone.start(at);
    tone.stop(at + PULSE_S + 0.2);
  });
}

export function state() {
  return { armed: armed(), calling, mutedMs: mutedMs(), played };
}
