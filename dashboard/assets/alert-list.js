// The list of alerts on their own page, each a card, and beside it how often people are told and who.

import { look, showAlerts } from "./alerts.js";
import { get } from "./ask.js";
import { el, setAttr, setText } from "./dom.js";
import { draws } from "./parts.js";
import { drawRate } from "./rate.js";
import { makeTag, setTag, whoBox } from "./tag.js";
import { drawTells } from "./tells.js";

const HIDDEN = new Set(["shelved", "out of service", "suppressed"]);
const cards = new Map();
let alerts = null;
let failed = "";
let unseen = 0;
let told = 0;

function drawList(said) {
  const rail = document.getElementById("alert-list");
  if (!rail) return;
  ({ alerts, failed, unseen } = said);
  whoBox(document.getElementById("who"));
  const line = document.getElementById("alerts-said");
  setText(line, failed ? `The alerts below may be old: ${failed}` : summary());
  setAttr(line, "class", failed ? "alerts-said failed" : "alerts-said");
  if (told++ % 5 === 0) drawAside();
  if (alerts === null) return;
  const open = alerts.filter((a) => a.state !== "normal" && !HIDDEN.has(a.state));
  hang(rail, open, "quiet");
  drawHidden();
}

function summary() {
  const open = alerts.filter((a) => a.state !== "normal" && !HIDDEN.has(a.state)).length;
  if (!open) return "";
  return unseen ? `${unseen} unacknowledged, ${open} in all. Worst and newest first.` : `Acknowledged: ${open}. Each goes when what it tells of is over.`;
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

function drawAside() {
  get("/live/rate").then(drawRate, () => drawRate(null));
  get("/live/tells").then((said) => drawTells(said, drawAside), () => drawTells(null));
}

// the page may come after the first answer
function drawSoon() {
  if (!told && document.getElementById("alert-list")) look();
}

showAlerts(drawList);
draws(drawSoon);
