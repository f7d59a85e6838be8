// The list of alerts, the count in the head, and whom the horn and the notification call.

import { get } from "./ask.js";
import { el, setAttr, setText } from "./dom.js";
import { call, listenForAPress, tick } from "./horn.js";
import { notify } from "./notice.js";
import { drawRate } from "./rate.js";
import { drawSound } from "./sound.js";
import { makeTag, setTag, whoBox } from "./tag.js";
import { drawTells } from "./tells.js";
import { whereOf } from "./words.js";

const HIDDEN = new Set(["shelved", "out of service", "suppressed"]);
const cards = new Map();
let alerts = null;
let failed = "";
let silent = false;
let asking = false;
let spoken = null;
let told = 0;
let counted = null;

export function followAlerts() {
  listenForAPress();
  const clock = new Worker("/assets/tick.js");
  let n = 0;
  clock.onmessage = () => {
    tick();
    drawSound();
    if (document.getElementById("alert-list") || n++ % 2 === 0) look();
  };
  look();
}

// whether the daemon is silent, as the live state knows it; the count in the head is the live state's too
export function drawAlerts(view) {
  silent = view.silent;
  const count = view.rack?.alerts_unacknowledged ?? unseen().length;
  setCount(count);
  if (alerts !== null) call(unseen(), silent);
  if (count !== counted || (document.getElementById("alert-list") && !told)) look();
  counted = count;
}

const unseen = () => (alerts ?? []).filter((a) => a.unseen);

async function look() {
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
  drawList();
  if (document.getElementById("alert-list") && told++ % 5 === 0) drawAside();
}

function drawAside() {
  get("/live/rate").then(drawRate, () => drawRate(null));
  get("/live/tells").then((said) => drawTells(said, drawAside), () => drawTells(null));
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

function drawList() {
  const rail = document.getElementById("alert-list");
  if (!rail) return;
  whoBox(document.getElementById("who"));
  const said = document.getElementById("alerts-said");
  setText(said, failed ? `The alerts below may be old: ${failed}` : summary());
  setAttr(said, "class", failed ? "alerts-said failed" : "alerts-said");
  if (alerts === null) return;
  const open = alerts.filter((a) => a.state !== "normal" && !HIDDEN.has(a.state));
  hang(rail, open, "quiet");
  drawHidden();
}

function summary() {
  const count = unseen().length;
  const open = alerts.filter((a) => a.state !== "normal" && !HIDDEN.has(a.state)).length;
  if (!open) return "";
  return count ? `${count} unacknowledged, ${open} in all. Worst and newest first.` : `Acknowledged: ${open}. Each goes when what it tells of is over.`;
}

// cards in the order of the list; the one that has the focus keeps it, and one that goes hands it to its neighbour
function hang(rail, list, whenEmpty) {
  const focus = document.activeElement;
  const had = focus?.closest?.(".alert");
  const next = had?.nextElementSibling ?? had?.previousElementSibling;
  const nowMs = Date.now();
  const nodes = list.map((alert) => {
    if (!cards.has(alert.id)) cards.set(alert.id, makeTag(alert, look));
    setTag(cards.get(alert.id), alert, nowMs);
    return cards.get(alert.id).node;
  });
  for (const [id, card] of cards) if (!alerts.some((a) => a.id === id)) cards.delete(id) && card.node.remove();
  if (!nodes.length && whenEmpty) {
    if (!rail.querySelector(".quiet-day")) rail.replaceChildren(quiet());
  } else if (nodes.some((n, i) => rail.children[i] !== n) || rail.childElementCount !== nodes.length) {
    rail.replaceChildren(...nodes);
  }
  if (had && rail.contains(had) && focus.isConnected && focus !== document.activeElement) focus.focus();
  else if (had && !had.isConnected) (next?.isConnected ? next : rail).focus();
}

function quiet() {
  const hooks = el("span", { class: "hooks", "aria-hidden": "true" }, ...Array.from({ length: 5 }, () => el("i")));
  return el("p", { class: "quiet-day" }, hooks, el("b", {}, "A quiet day."), "No alert stands. What the rules find will hang here, worst and newest first; a trip unkeys its bay without asking.");
}

function drawHidden() {
  const place = document.getElementById("alerts-hidden");
  const groups = [
    ["put-away", "Shelved and out of service", alerts.filter((a) => HIDDEN.has(a.state))],
    ["gone-by", "Back to normal, the last ones", alerts.filter((a) => a.state === "normal")],
  ];
  for (const [name, title, list] of groups) {
    let box = place.querySelector(`.${name}`);
    if (!box) {
      box = el("details", { class: name, ...(name === "put-away" ? { open: "" } : {}) }, el("summary"), el("div", { class: "rail" }));
      place.append(box);
    }
    setAttr(box, "hidden", list.length ? null : "");
    setText(box.firstChild, `${title}: ${list.length}`);
    hang(box.lastChild, list, "");
  }
}
