// What the horn does, in the head of every page where it wants something of a person, and in full on the alerts' page.

import { el, setText } from "./dom.js";
import { MUTES_MIN, mute, state, tryOut, unmute } from "./horn.js";
import { askLeave, permission } from "./notice.js";
import { long } from "./words.js";

const LEAVES = {
  granted: "This browser shows a notification for each new alert.",
  denied: "This browser was told to show no notifications here; its settings for this page can allow them again.",
  default: "This browser can show a notification for each new alert, if you allow it.",
  unsafe: "A browser shows notifications only over HTTPS, or on the daemon's own machine. The sound works all the same.",
  none: "This browser has no notifications.",
};

export function drawSound() {
  const now = state();
  drawHead(now);
  const place = document.getElementById("sound");
  if (!place) return;
  if (!place.childElementCount) build(place);
  setText(place.querySelector(".sound-said"), sentenceOf(now));
  place.querySelector(".sound-on").hidden = !now.mutedMs;
  setText(place.querySelector(".notice-said"), LEAVES[permission()]);
  place.querySelector(".notice-ask").hidden = permission() !== "default";
}

function sentenceOf(now) {
  if (now.mutedMs) return `Muted for ${long(now.mutedMs / 1000)} more; then it sounds by itself again. A new trip sounds at once.`;
  if (!now.armed) return "Silent as yet: a browser lets a page sound only after a press. Press any key, or anywhere on the page.";
  return now.calling ? "It sounds, until each alert is acknowledged." : "Ready. It sounds while an alert is unacknowledged, or the daemon is silent.";
}

function build(place) {
  const buttons = MUTES_MIN.map((m) => press(`Mute ${m} min`, () => mute(m)));
  const again = press("Sound again", unmute);
  again.classList.add("sound-on");
  const ask = press("Allow notifications", () => askLeave().then(drawSound));
  ask.classList.add("notice-ask");
  place.append(
    el("h2", {}, "Sound"),
    el("p", { class: "sound-said" }),
    el("div", { class: "choices" }, press("Try it", tryOut), ...buttons, again),
    el("p", { class: "notice-said" }),
    ask,
  );
}

function press(word, act) {
  const button = el("button", { type: "button", class: "quiet" }, word);
  button.addEventListener("click", () => {
    act();
    drawSound();
  });
  return button;
}

// in the head only where it wants something: a first press, or to be muted; and always while it is muted
function drawHead(now) {
  const place = document.getElementById("horn");
  if (!place.childElementCount) {
    const button = press("", headPress);
    place.append(button);
  }
  const word = now.mutedMs ? `Muted ${Math.ceil(now.mutedMs / 60000)} min` : now.armed ? (now.calling ? "Mute 5 min" : "") : "Allow sound";
  const button = place.firstChild;
  setText(button, word);
  button.hidden = !word;
  button.title = sentenceOf(now);
}

function headPress() {
  const now = state();
  if (now.mutedMs) unmute();
  else if (now.calling && now.armed) mute(MUTES_MIN[0]);
}
