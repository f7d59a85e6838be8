// Sensors and links: for each bay what came over its wire, and the last reading of each channel.

import { get } from "./ask.js";
import { el, setAttr, setText } from "./dom.js";
import { draws } from "./parts.js";
import { makeTerminals, setTerminals } from "./terminals.js";
import { fixed, long } from "./words.js";

// the rate is what came in the last stretch of this length
const OVER_MS = 10000;
const sheets = new Map();
const counts = new Map();
let asking = false;
let askedMs = 0;

async function drawLinks() {
  const place = document.getElementById("links");
  if (!place || asking || performance.now() - askedMs < 1000) return;
  asking = true;
  askedMs = performance.now();
  const said = document.getElementById("links-said");
  try {
    draw(place, await get("/live/links"));
    setText(said, "");
    place.classList.remove("stale");
  } catch (fault) {
    setText(said, `The figures below are old: ${fault.message}`);
    place.classList.add("stale");
  }
  asking = false;
}

function draw(place, bays) {
  if (place.childElementCount !== bays.length || bays.some((b) => !sheets.has(b.bay))) {
    sheets.clear();
    for (const bay of bays) sheets.set(bay.bay, make(bay.bay));
    place.replaceChildren(...bays.map((b) => sheets.get(b.bay).node));
  }
  for (const bay of bays) set(sheets.get(bay.bay), bay);
}

const FACTS = ["rate", "packs", "lost", "restarts", "repeats", "refused", "CRC failures", "unknown"];

function make(name) {
  const sheet = { state: el("p", { class: "link-state" }), error: el("p", { class: "link-error" }), facts: {}, strip: makeTerminals(`Channels of ${name}`) };
  const list = el("dl", { class: "link-facts" });
  for (const fact of FACTS) {
    sheet.facts[fact] = el("dd");
    list.append(el("div", {}, el("dt", {}, fact), sheet.facts[fact]));
  }
  sheet.nothing = el("p", { class: "link-nothing" });
  sheet.node = el(
    "section",
    { class: "link-sheet", "aria-label": name },
    el("header", {}, el("h2", {}, el("a", { class: "plate", href: `/bay/${encodeURIComponent(name)}` }, name)), sheet.state),
    list,
    sheet.error,
    sheet.strip.node,
    sheet.nothing,
  );
  return sheet;
}

function set(sheet, bay) {
  const link = bay.link;
  const age = bay.age_s === null ? "never heard" : bay.stale ? `silent for ${long(bay.age_s)}` : `heard ${fixed(bay.age_s, 1)} s ago`;
  const wire = link ? `${link.link}, ${link.connected ? "open" : "not open"}${link.presence === "unknown" ? "" : `, node ${link.presence}`}` : "no link";
  const shape = bay.stale ? "warning" : "pass";
  setAttr(sheet.node, "class", `link-sheet${bay.stale ? " stale" : ""}`);
  if (sheet.state.dataset.said !== `${shape}${age}${wire}`) {
    sheet.state.dataset.said = `${shape}${age}${wire}`;
    sheet.state.replaceChildren(el("i", { class: `shape shape-${shape}`, "aria-hidden": "true" }), el("b", {}, age), el("span", {}, wire));
  }
  if (link) setFacts(sheet, bay.bay, link);
  setText(sheet.error, link?.last_error ? `Last error: ${link.last_error}` : "");
  setText(sheet.nothing, bay.readings.length ? "" : "Nothing was heard yet. Look at the cable and the node's supply, and run keysoak probe: it says which wire is wrong.");
  setTerminals(sheet.strip, bay.readings);
}

function setFacts(sheet, bay, link) {
  const said = {
    rate: rateOf(bay, link.packs),
    packs: grouped(link.packs),
    lost: share(link.lost, link.packs),
    restarts: grouped(link.restarts),
    repeats: grouped(link.repeats),
    refused: grouped(link.refused + link.packs_refused),
    "CRC failures": grouped(link.crc_failures),
    unknown: grouped(link.unknown),
  };
  for (const fact of FACTS) {
    setText(sheet.facts[fact], said[fact]);
    const bad = fact !== "rate" && fact !== "packs" && !/^0/.test(said[fact]);
    setAttr(sheet.facts[fact].parentElement, "class", bad ? "counted" : said[fact] === "0" ? "none" : null);
  }
}

function rateOf(bay, packs) {
  const nowMs = performance.now();
  const seen = counts.get(bay) ?? [];
  seen.push([nowMs, packs]);
  while (seen.length > 2 && seen[1][0] < nowMs - OVER_MS) seen.shift();
  counts.set(bay, seen);
  const [thenMs, before] = seen[0];
  return nowMs - thenMs < 2500 || packs < before ? "…" : `${fixed((packs - before) / ((nowMs - thenMs) / 1000), 1)} /s`;
}

const grouped = (n) => n.toLocaleString("en").replaceAll(",", "\u202f");
const share = (n, of) => (n ? `${grouped(n)} (${fixed((100 * n) / (n + of), 1)} %)` : "0");

draws(drawLinks);
