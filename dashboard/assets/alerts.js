// The alerts as they stand: the count in the head, and whom the horn and the notification call.

import { get } from "./ask.js";
import { setAttr, setText } from "./dom.js";
import { call, listenForAPress, tick } from "./horn.js";
import { notify } from "./notice.js";
import { drawSound } from "./sound.js";
import { whereOf } from "./words.js";

let alerts = null;
let failed = "";
let silent = false;
let asking = false;
let spoken = null;
let list = null; // what shows them, on the page that is theirs
let counted = null;

export function followAlerts() {
  listenForAPress();
  const clock = new Worker(new URL("./tick.js", import.meta.url));
  let n = 0;
  clock.onmessage = () => {
    tick();
    drawSound();
    if (list || n++ % 2 === 0) look();
  };
  look();
}

// whether the daemon is silent, as the live state knows it; the count in the head is the live state's too
export function drawAlerts(view) {
  silent = view.silent;
  const count = view.rack?.alerts_unacknowledged ?? unseen().length;
  setCount(count);
  if (alerts !== null) call(unseen(), silent);
  if (count !== counted) look();
  counted = count;
}

const unseen = () => (alerts ?? []).filter((a) => a.unseen);

export function showAlerts(show) {
  list = show;
}

export async function look() {
  if (asking) return;
  asking = true;
  try {
    alerts = await get("/live/alerts");
    failed = "";
  } catch (fault) {
    failed = fault.message;
  }
  asking = false;
  if (alerts === null && !failed) return;
  call(unseen(), silent);
  notify(unseen());
  speak();
  list?.({ alerts, failed, unseen: unseen().length });
}

function setCount(count) {
  const place = document.getElementById("alert-count");
  const text = count ? String(count) : "";
  if (place.textContent === text) return;
  setText(place, text);
  setAttr(place, "aria-label", count ? `${count} unacknowledged` : null);
  document.title = document.title.replace(/^(\(\d+\) )?/, count ? `(${count}) ` : "");
}

// a new alert is said once; a trip is said with the state of its bay
function speak() {
  const ids = new Set(unseen().map((a) => a.id));
  const news = spoken === null ? [] : unseen().filter((a) => !spoken.has(a.id) && a.priority !== "trip");
  spoken = ids;
  if (news.length) setText(document.getElementById("speaks"), news.map((a) => `New alert, ${whereOf(a)}: ${a.text}`).join(". "));
}
