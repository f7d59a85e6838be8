// The browser's own notification, where a person allowed it: for alerts that come while another window is in front.

import { keep, kept } from "./ask.js";
import { told, whereOf } from "./words.js";

let works = "Notification" in window && window.isSecureContext;

// of all tabs one tells: two that look at what has been told at once would both tell it
let tells = !navigator.locks;
let waiting = [];
navigator.locks?.request("keysoak-notice", () => {
  tells = true;
  notify(waiting);
  return new Promise(() => {}); // held until this tab is gone; then the next one has it
});

export function permission() {
  if (!window.isSecureContext) return "unsafe";
  return works ? Notification.permission : "none";
}

export async function askLeave() {
  await Notification.requestPermission();
}

// each thing that there is to tell, once in this browser, however many tabs stand open
export function notify(unseen) {
  waiting = unseen;
  if (!tells || permission() !== "granted") return;
  const before = Number(kept("noticed") ?? 0);
  const news = unseen.flatMap((alert) => alert.history.filter((c) => c.told && c.id > before).map((change) => ({ alert, change })));
  if (!news.length) return;
  keep("noticed", String(Math.max(...news.map((n) => n.change.id))));
  for (const { alert, change } of news.slice(-5)) show(alert, change);
}

function show(alert, change) {
  try {
    const card = new Notification(`${whereOf(alert)}: ${alert.priority}`, { body: told(change.text || alert.text), tag: `keysoak-${change.id}`, icon: new URL("./mark.svg", import.meta.url).href });
    card.addEventListener("click", () => {
      window.focus();
      location.assign(`/alerts#alert-${alert.id}`);
    });
  } catch {
    works = false; // some browsers have the word, and refuse to do it for a page
  }
}
