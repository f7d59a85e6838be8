// A bay's own page: what soaks there now, every channel, what is known of the unit, its alerts, every rule.

import { el, setAttr, setText } from "./dom.js";
import { draws } from "./parts.js";
import { makeTerminals, setTerminals } from "./terminals.js";
import { fixed, long, moment, phaseAt, shown, signOf, told } from "./words.js";

const SOAKING = new Set(["keyed", "resting", "waiting"]);
const JUDGES = { judging: "pass", "not yet": "resting", "not applicable": "dropped" };

let sheet = null;

function drawBay({ rack, bay, silent }) {
  const place = document.getElementById("bay-details");
  if (!place) return;
  const shelf = rack?.bays.find((b) => b.bay === place.dataset.bay);
  if (shelf) drawNow(shelf);
  if (!bay || bay.bay !== place.dataset.bay) return;
  if (sheet?.place !== place) sheet = make(place, bay.bay);
  place.classList.toggle("stale", silent || bay.stale);
  setTerminals(sheet.strip, bay.readings);
  setText(sheet.wire, wire(bay.link));
  for (const [part, key, draw] of [
    ["known", bay.derived, drawKnown],
    ["alerts", [bay.tags.length, bay.job], () => drawAlerts(bay)],
    ["rules", bay.rules, drawRules],
  ]) {
    const now = JSON.stringify(key);
    if (sheet[part].dataset.drawn === now) continue;
    sheet[part].dataset.drawn = now;
    sheet[part].replaceChildren(...draw(key));
  }
}

function make(place, name) {
  const made = { place, strip: makeTerminals(`Channels of ${name}`), wire: el("p", { class: "soft" }) };
  for (const part of ["known", "alerts", "rules"]) made[part] = el("div");
  const section = (title, look, ...children) => el("section", { class: look }, el("h2", {}, title), ...children);
  const more = el("p", { class: "soft" }, el("a", { href: "/links" }, "Sensors and links"), " has what was lost on the way.");
  place.replaceChildren(
    section("Channels", "channels", made.strip.node, made.wire, more),
    section("Known of this unit", "known", made.known),
    section("Alerts of this soak", "soak-alerts", made.alerts),
    section("Rules", "rules", made.rules),
  );
  return made;
}

function wire(link) {
  if (!link) return "No link.";
  if (!link.packs) return `Nothing was heard yet: look at the cable and the node's supply, and run keysoak probe.${link.last_error ? ` Last error: ${link.last_error}` : ""}`;
  const node = link.presence === "unknown" ? "" : `, node ${link.presence}`;
  const lost = link.lost ? `${link.lost} lost` : "none lost";
  return `${link.link}, ${link.connected ? "open" : "not open"}${node}: ${link.packs} packs, ${lost}.${link.last_error ? ` Last error: ${link.last_error}` : ""}`;
}

// what soaks here, and whether the next may be started -----------------------------------------------------------

function drawNow(bay) {
  // without a supply nothing can soak: its release stands above
  const busy = SOAKING.has(bay.status) || bay.supply_cut;
  const start = document.getElementById("start");
  if (start && start.hidden !== busy) start.hidden = busy;
  const now = document.getElementById("bay-now");
  if (!now) return;
  if (now.hidden === busy) now.hidden = !busy;
  if (!busy) return;
  if (bay.supply_cut) {
    if (now.dataset.drawn !== "cut") now.replaceChildren(el("h2", {}, "No soak for now"), el("p", {}, "The supply of this radio is cut. When it is released, a soak can be started here."));
    now.dataset.drawn = "cut";
    return;
  }
  const phase = phaseAt(bay.plan, bay.elapsed_s);
  const at = Math.round(bay.left_s / 60);
  const key = `${bay.job} ${bay.status} ${phase?.start_s} ${at}`;
  if (now.dataset.drawn === key) return;
  now.dataset.drawn = key;
  const ends = bay.status === "waiting" ? "when somebody has done what is asked" : moment(Date.now() * 1e6 + bay.left_s * 1e9).replace(/:\d\d(?=\D*$)/, "");
  now.replaceChildren(
    el("h2", {}, "On the bench now"),
    el("dl", { class: "facts" }, ...facts({
      job: el("a", { href: `/job/${bay.job}` }, bay.number || `job ${bay.job}`),
      unit: bay.unit || "no name given",
      plan: `${bay.plan.name}, ${long(bay.plan.total_s)}`,
      ends,
    })),
    el("ol", { class: "course" }, ...bay.plan.phases.map((p) => course(p, bay.elapsed_s))),
    el("p", {}, "The next soak can be started when this one is over. Unkey ends it now."),
  );
}

function course(phase, elapsedS) {
  const where = elapsedS >= phase.end_s ? "done" : elapsedS >= phase.start_s ? "now" : "to come";
  const cycle = phase.on_s ? `, ${long(phase.on_s)} keyed, ${long(phase.off_s)} rested` : "";
  return el("li", { class: where.replace(" ", "-"), ...(where === "now" ? { "aria-current": "step" } : {}) }, el("b", {}, phase.drive), `${cycle}, ${long(phase.end_s - phase.start_s)}`, el("span", {}, where));
}

const facts = (rows) => Object.entries(rows).flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)]);

// what is known --------------------------------------------------------------------------------------------------

function drawKnown(d) {
  const rows = {};
  const put = (name, value, unit, places, more = "") => {
    if (value !== undefined) rows[name] = `${fixed(shown(value, unit), places)} ${signOf(unit)}${more}`.trim();
  };
  const give = (sd, unit, places) => (sd === undefined ? "" : ` ± ${fixed(shown(2 * sd, unit === "Cel" ? "K" : unit), places)}`);
  put("heat in the radio", d.dissipation_w, "W", 1);
  put("heatsink to air", d.heatsink_k_per_w, "K/W", 2, give(d.heatsink_k_per_w_sd, "K/W", 2));
  if (d.heatsink_tau_s !== undefined) rows["time constant"] = long(d.heatsink_tau_s);
  put("forecast peak", d.forecast_peak_c, "Cel", 1, give(d.forecast_sd_k, "Cel", 1));
  if (d.time_to_limit_s !== undefined) rows["to the limit"] = long(d.time_to_limit_s);
  put("loop gain", d.loop_gain, "1", 2, give(d.loop_gain_sd, "1", 2));
  put(`idle at ${fixed(shown(25, "Cel"), 0)} ${signOf("Cel")}`, d.idle_25c_a, "A", 3);
  if (d.idle_per_k_a !== undefined) rows["idle with heat"] = `${fixed(1000 * d.idle_per_k_a, 2)} mA/K`;
  put("supply's resistance", d.source_ohm, "Ohm", 3);
  for (let i = 1; d[`junction_${i}_c`] !== undefined; i += 1) put(`junction ${i}, an estimate`, d[`junction_${i}_c`], "Cel", 0);
  if (!Object.keys(rows).length) return [el("p", {}, "Nothing yet. The estimates come as the radio is keyed and its heatsink warms.")];
  return [el("dl", { class: "facts" }, ...facts(rows)), el("p", { class: "soft" }, "Estimated from this soak; ± is a band of 95\u00a0%.")];
}

function drawAlerts(bay) {
  if (!bay.tags.length) return [el("p", {}, bay.job === null ? "None: nothing has soaked here since the daemon started." : "None: a quiet soak so far.")];
  return [
    el("ol", { class: "tags", reversed: "" }, ...bay.tags.toReversed().map((t) =>
      el("li", {}, el("i", { class: `shape shape-${t.priority}`, "aria-hidden": "true" }), el("b", {}, t.event === "trip" ? "trip: unkeyed " : `${t.priority}, ${t.event} `), `at ${long(t.at_s)}. ${told(t.text)}`))),
  ];
}

// what most rules say of themselves (on an idle bay, that nothing soaks) is said once
function sharedWhy(rules) {
  const said = rules.filter((r) => r.state === "not yet").map((r) => r.why);
  return said.find((why) => why && said.filter((w) => w === why).length > rules.length / 2);
}

function drawRules(rules) {
  const row = (r) => el("li", { class: r.state.replaceAll(" ", "-") }, el("i", { class: `shape shape-${JUDGES[r.state] ?? "soaking"}`, "aria-hidden": "true" }), el("a", { href: `/limits#${r.rule}` }, r.rule), el("span", {}, r.state), r.why ? el("small", {}, told(r.why)) : "");
  const why = sharedWhy(rules);
  const alike = rules.filter((r) => why && r.why === why);
  const links = alike.flatMap((r, i) => [i ? ", " : "", el("a", { href: `/limits#${r.rule}` }, r.rule)]);
  return [
    el("ul", { class: "standings" }, ...rules.filter((r) => !alike.includes(r)).map(row)),
    ...(alike.length ? [el("p", { class: "alike" }, `${told(why)}, so these do not judge yet: `, ...links, ".")] : []),
  ];
}

draws(drawBay);
