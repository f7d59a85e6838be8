// One shelf of the rack: number plate and job, the soak strip, four figures, the red button; a sentence on its edge.

import { makeBeam, setBeam } from "./beam.js";
import { el, setAttr, setClass, setText } from "./dom.js";
import { bayAgeS } from "./live.js";
import { makeStrip, setStrip } from "./strip.js";
import { clock, fixed, long, sentence, shown, signOf, stateOf } from "./words.js";

export function makeShelf(name) {
  const path = `/bay/${encodeURIComponent(name)}`;
  const shelf = {
    plate: el("a", { class: "plate", href: path, "aria-label": `Bay ${name}` }, el("b", {}, name)),
    side: el("a", { class: "plate-side" }),
    job: el("span", { class: "plate-job" }),
    unit: el("span", { class: "plate-unit" }),
    state: el("span", { class: "state" }),
    shape: el("i", { class: "shape" }),
    word: el("b"),
    silent: el("span", { class: "silent" }),
    strip: makeStrip(),
    heat: figure("heatsink"),
    beam: makeBeam(),
    power: figure("forward"),
    left: figure("time left"),
    edge: el("p", { class: "edge-card" }),
    done: order(`${path}/done`, "done", "Done", "go"),
    release: el("a", { class: "edge-go", href: `${path}#bay-release`, "aria-label": `Release the supply of ${name}` }, "Release …"),
    unkey: order(`${path}/unkey`, "unkey", "Unkey", "red"),
  };
  shelf.unkey.firstChild.setAttribute("aria-label", `Unkey ${name}`);
  shelf.state.append(shelf.shape, shelf.word);
  shelf.side.append(shelf.state, shelf.silent, shelf.job, shelf.unit);
  const drains = el("dl", { class: "figure drains" }, el("dt", { class: "unseen" }, "drain currents"), shelf.beam.amps, shelf.beam.word);
  drains.insertBefore(el("dd", { class: "beam-box" }, shelf.beam.picture), shelf.beam.amps);
  shelf.node = el(
    "section",
    { class: "shelf", "aria-label": `Bay ${name}` },
    el("div", { class: "plate-box" }, shelf.plate, shelf.side),
    shelf.strip.box,
    el("div", { class: "figures" }, shelf.heat.node, drains, shelf.power.node, shelf.left.node),
    shelf.unkey,
    el("div", { class: "edge" }, shelf.edge, shelf.done, shelf.release),
  );
  return shelf;
}

function figure(name) {
  const big = el("span", { class: "big" });
  const unit = el("span", { class: "unit" });
  const under = el("dd", { class: "under" });
  const title = el("dt", {}, name);
  const node = el("dl", { class: "figure" }, title, el("dd", { class: "value" }, big, " ", unit), under);
  return { node, title, big, unit, under };
}

function order(action, kind, word, look) {
  return el("form", { action, method: "post", "data-order": kind, class: `order-${kind}` }, el("button", { type: "submit", class: look }, word));
}

export function setShelf(shelf, bay, pageAgeS, pageSilent) {
  const { word, shape } = stateOf(bay);
  const stale = pageSilent || bay.stale;
  const ageS = pageSilent ? Math.max(pageAgeS, bayAgeS(bay) ?? 0) : bayAgeS(bay);
  setAttr(shelf.node, "class", `shelf is-${bay.status} looks-${shape}${stale ? " stale" : ""}${bay.plan ? "" : " bare"}`);
  setText(shelf.word, word);
  setAttr(shelf.shape, "class", `shape shape-${shape}`);
  setText(shelf.silent, stale ? (ageS === null ? "never heard" : `silent for ${long(ageS)}`) : "");
  setText(shelf.job, bay.job === null ? "" : bay.number || `Job ${bay.job}`);
  setAttr(shelf.side, "href", bay.job === null ? null : `/job/${bay.job}`);
  setText(shelf.unit, bay.unit);
  setStrip(shelf.strip, bay);
  setFigures(shelf, bay);
  setText(shelf.edge, sentence(bay));
  setClass(shelf.edge, "loud", bay.supply_cut || bay.status === "tripped" || bay.status === "waiting");
  setAttr(shelf.release, "hidden", bay.supply_cut ? null : "");
  setAttr(shelf.done, "hidden", bay.ask === null ? "" : null);
  setClass(shelf.unkey.firstChild, "hot", bay.key_lent || bay.key_seen === true);
}

function setFigures(shelf, bay) {
  const f = bay.figures;
  setText(shelf.heat.big, fixed(shown(f.heatsink_c, "Cel"), 1));
  setText(shelf.heat.unit, signOf("Cel"));
  const limit = f.heatsink_limit_c === null ? null : Number(shown(f.heatsink_limit_c, "Cel").toFixed(1));
  const limited = limit === null ? "" : `limit ${limit}\u00a0${signOf("Cel")}`;
  setText(shelf.heat.under, f.time_to_limit_s === null ? limited : `${limit}° in ${long(f.time_to_limit_s)}`);
  setBeam(shelf.beam, f.drains_a);
  // a reading whose calibration is past due says so wherever it stands
  const late = bay.past_due ?? [];
  setText(shelf.heat.title, late.includes("heatsink") ? "heatsink, past due" : "heatsink");
  setText(shelf.power.title, late.includes("forward") ? "forward, past due" : "forward");
  if (late.some((channel) => channel.startsWith("drain-"))) setText(shelf.beam.word, ["past due", shelf.beam.word.textContent].filter(Boolean).join(" · "));
  setText(shelf.power.big, fixed(f.forward_w, 1));
  setText(shelf.power.unit, "W");
  setText(shelf.power.under, powerUnder(f));
  const [big, unit] = clock(bay.left_s);
  setText(shelf.left.big, big);
  setText(shelf.left.unit, "");
  setText(shelf.left.under, bay.plan ? [unit, `of ${long(bay.plan.total_s)}`].filter(Boolean).join(", ") : "");
}

function powerUnder(f) {
  const change = f.forward_change_db;
  const db = change === null ? "" : `${change >= 0.05 ? "+" : ""}${fixed(change, 1)} dB`;
  const swr = f.swr === null ? "" : `SWR ${fixed(f.swr, 2)}`;
  return [db, swr].filter(Boolean).join(" · ");
}
