// One alert as a card on the rail: its sentence first; its bay, age and state; what a person may do; what is folded
// under it, and its history.

import { keep, kept, send } from "./ask.js";
import { el, setAttr, setText } from "./dom.js";
import { fixed, long, moment, shown, signOf, told, whereOf } from "./words.js";

const STATES = {
  unacknowledged: "unacknowledged",
  acknowledged: "acknowledged",
  returned: "returned to normal, unacknowledged",
  latched: "latched: acknowledge it, then reset it",
  "latched acknowledged": "latched: waits for a reset",
  suppressed: "suppressed by design",
  shelved: "shelved",
  "out of service": "out of service",
  normal: "normal",
};

// what a person may do: the word on its button, what its form asks for, the word on the form's own button
const ORDERS = {
  acknowledge: { word: "Acknowledge" },
  note: { word: "… with a note", asks: ["note"], what: "Note", done: "Acknowledge", as: "acknowledge" },
  reset: { word: "Reset …", asks: ["note"], what: "What was mended?", done: "Reset the trip" },
  unshelve: { word: "Take off the shelf" },
  "in-service": { word: "Put back in service" },
  shelve: { word: "Shelve …", asks: ["minutes", "reason"], what: "Why?", done: "Shelve it" },
  "out-of-service": { word: "Out of service …", asks: ["note"], what: "Why?", done: "Take out of service" },
};
const MINUTES = [10, 30, 60, 120, 240, 480, 720];

export const stateWord = (alert) =>
  alert.state === "shelved" && alert.shelved_until_ns ? `shelved until ${moment(alert.shelved_until_ns)}` : (STATES[alert.state] ?? alert.state);

export const shapeOf = (state) => `shape shape-state-${state.replaceAll(" ", "-")}`;

export function makeTag(alert, changed) {
  const card = {
    id: alert.id,
    changed,
    may: null,
    key: "",
    priority: el("p", { class: "tag-priority" }, el("i", { class: `shape shape-${alert.priority}`, "aria-hidden": "true" }), el("b")),
    words: el("h2", { class: "tag-words" }),
    bay: el("a", { class: "tag-bay", href: alert.bay ? `/bay/${encodeURIComponent(alert.bay)}` : "/" }, whereOf(alert)),
    facts: el("p", { class: "tag-facts" }),
    state: el("span", { class: "tag-state" }),
    age: el("span", { class: "tag-age" }),
    more: el("div", { class: "tag-more" }),
    orders: el("div", { class: "tag-orders" }),
    form: el("form", { class: "tag-form", hidden: "" }),
    said: el("p", { class: "tag-said", role: "alert" }),
  };
  card.folded = fold("folded");
  card.history = fold("history");
  card.more.append(card.folded.box, card.history.box);
  card.node = el(
    "article",
    { class: "alert", id: `alert-${alert.id}`, tabindex: "-1" },
    card.priority,
    card.words,
    el("div", { class: "tag-line" }, card.bay, card.state, card.age, card.facts),
    card.orders,
    card.form,
    card.said,
    card.more,
  );
  return card;
}

function fold(name) {
  const head = el("summary");
  const list = el("ol");
  return { box: el("details", { class: `tag-${name}` }, head, list), head, list };
}

export function setTag(card, alert, nowMs) {
  setText(card.age, `${alert.state === "normal" ? "was raised" : "raised"} ${long((nowMs - alert.raised_ns / 1e6) / 1000)} ago`);
  const key = JSON.stringify([alert, new Date().toDateString()]);
  if (key === card.key) return;
  card.key = key;
  setAttr(card.node, "class", `alert is-${alert.priority} ${alert.unseen ? "unseen-yet" : "seen"} ${alert.active ? "stands" : "gone"}`);
  setAttr(card.priority.firstChild, "class", `shape shape-${alert.priority}`);
  setText(card.priority.lastChild, alert.priority);
  setText(card.words, told(alert.text));
  card.state.replaceChildren(el("i", { class: shapeOf(alert.state), "aria-hidden": "true" }), stateWord(alert));
  card.facts.replaceChildren(...facts(alert));
  setText(card.folded.head, `${alert.folded.length} folded under it`);
  setAttr(card.folded.box, "hidden", alert.folded.length ? null : "");
  card.folded.list.replaceChildren(...alert.folded.map(folded));
  setText(card.history.head, `History, ${alert.history.length}`);
  card.history.list.replaceChildren(...alert.history.map(change).reverse());
  setOrders(card, alert);
}

function facts(alert) {
  const parts = [el("span", {}, alert.subject && alert.subject !== alert.rule ? `${alert.rule}, ${alert.subject}` : alert.rule)];
  // yes and no are no figures: the sentence says it
  if (alert.value !== null && alert.limit !== null && alert.unit !== "boolean") {
    const sign = signOf(alert.unit);
    parts.push(el("span", {}, `${fixed(shown(alert.value, alert.unit), 2)} of ${fixed(shown(alert.limit, alert.unit), 2)}${sign ? ` ${sign}` : ""}`));
  }
  // a trip that a person ends at the radio, not here
  if (alert.active && alert.subject === "supply cut") parts.push(el("a", { href: `/bay/${encodeURIComponent(alert.bay)}#bay-release` }, "Release the supply …"));
  if (alert.job !== null) parts.push(el("a", { href: `/job/${alert.job}` }, `Job ${alert.job}`));
  return parts;
}

function folded(alert) {
  const state = el("span", { class: "tag-state" }, el("i", { class: shapeOf(alert.state), "aria-hidden": "true" }), stateWord(alert));
  const item = el("li", {}, el("b", {}, el("i", { class: `shape shape-${alert.priority}`, "aria-hidden": "true" }), alert.priority), ` ${told(alert.text)} `, state);
  if (alert.folded.length) item.append(el("ol", {}, ...alert.folded.map(folded)));
  return item;
}

function change(one) {
  const by = one.person ? ` by ${one.person}` : "";
  const note = one.note ? `: “${one.note}”` : "";
  const heard = one.told ? " Told." : "";
  return el("li", {}, el("time", {}, moment(one.time_ns)), el("span", {}, `${one.change.replaceAll("-", " ")}${by}${note}.${heard}`));
}

function setOrders(card, alert) {
  const may = alert.may.includes("acknowledge") ? [...alert.may, "note"] : alert.may;
  const key = may.join();
  if (key === card.may) return;
  card.may = key;
  const names = Object.keys(ORDERS).filter((name) => may.includes(name));
  card.orders.replaceChildren(...names.map((name) => orderButton(card, alert, name)));
  if (!card.form.hidden && !names.includes(card.form.dataset.asks)) closeForm(card);
}

function orderButton(card, alert, name) {
  const look = name === "acknowledge" ? "go" : "quiet";
  const button = el("button", { type: "button", class: look, "data-order": name }, ORDERS[name].word);
  button.setAttribute("aria-label", `${nameOf(name)}: ${whereOf(alert)}, ${alert.rule}`);
  button.addEventListener("click", () => (ORDERS[name].asks ? openForm(card, alert, name) : give(card, name, {})));
  return button;
}

const nameOf = (name) => (name === "note" ? "Acknowledge with a note" : ORDERS[name].word.replace(" …", ""));

function openForm(card, alert, name) {
  const { asks, what, done } = ORDERS[name];
  const id = `${name}-${alert.id}`;
  const parts = [];
  if (asks.includes("minutes")) {
    const choices = MINUTES.map((m) => el("option", { value: m }, `${long(m * 60)}, until ${moment((Date.now() + m * 60000) * 1e6)}`));
    parts.push(el("label", { for: `${id}-minutes` }, "For"), el("select", { id: `${id}-minutes`, name: "minutes" }, ...choices));
  }
  const field = asks.at(-1);
  const box = el("input", { id: `${id}-text`, name: field, type: "text", maxlength: 2000, required: "", autocomplete: "off" });
  if (name === "shelve") parts.push(el("p", { class: "tag-hint" }, "It comes back by itself at that time. What is folded under it goes along."));
  parts.push(el("label", { for: `${id}-text` }, what), box);
  const cancel = el("button", { type: "button", class: "quiet" }, "Leave it");
  cancel.addEventListener("click", () => closeForm(card, name));
  parts.push(el("div", { class: "tag-orders" }, el("button", { type: "submit", class: "go" }, done), cancel));
  card.form.replaceChildren(...parts);
  card.form.dataset.asks = name;
  card.form.hidden = false;
  card.form.onsubmit = (event) => {
    event.preventDefault();
    const said = Object.fromEntries(new FormData(card.form));
    if (said.minutes) said.minutes = Number(said.minutes);
    give(card, ORDERS[name].as ?? name, said);
  };
  card.form.onkeydown = (event) => {
    if (event.key === "Escape") closeForm(card, name);
  };
  card.form.querySelector("select, input").focus();
}

function closeForm(card, name) {
  const held = card.form.contains(document.activeElement);
  card.form.hidden = true;
  card.form.replaceChildren();
  if (held) (card.orders.querySelector(`[data-order="${name}"]`) ?? card.node).focus();
}

async function give(card, order, fields) {
  const name = document.getElementById("who-name");
  const person = name.value.trim();
  if (!person) {
    setText(card.said, "Who are you? Your name goes into the history: fill it in at the top of this page.");
    name.focus();
    return;
  }
  keep("person", person);
  setText(card.said, "");
  const said = await send(`/alerts/${card.id}/${order}`, { person, ...fields });
  if (said.failed !== undefined) setText(card.said, `Not done. ${said.failed}`);
  else closeForm(card, order === "acknowledge" && fields.note ? "note" : order);
  card.changed(said);
}

export function whoBox(place) {
  if (!place || place.childElementCount) return;
  const box = el("input", { id: "who-name", type: "text", maxlength: 80, autocomplete: "name", value: kept("person") ?? "" });
  box.addEventListener("change", () => keep("person", box.value.trim()));
  place.append(el("label", { for: "who-name" }, "Your name, for the history"), box);
}
