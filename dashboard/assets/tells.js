// Who is told of alerts, whether they can be, and a test message to each.

import { send } from "./ask.js";
import { el, setText } from "./dom.js";
import { long, moment } from "./words.js";

// a target that hangs is given up by the daemon after half a minute
const TEST_MS = 45000;
const SHAPES = { idle: "pass", waiting: "waiting", sending: "keyed", failing: "warning" };
const tried = new Map();
let drawn = "";

export function drawTells(said, again) {
  const place = document.getElementById("tells");
  if (!place || place.contains(document.activeElement) && document.activeElement.disabled) return;
  const key = JSON.stringify([said, [...tried]]);
  if (key === drawn && place.childElementCount) return;
  drawn = key;
  const held = document.activeElement?.dataset?.target;
  place.replaceChildren(el("h2", {}, "Who is told"), ...content(said, again));
  if (held !== undefined) place.querySelector(`[data-target="${CSS.escape(held)}"]`)?.focus();
}

function content(said, again) {
  if (!said) return [el("p", {}, "Not known: the daemon does not answer, or tells nobody.")];
  const parts = said.error ? [el("p", { class: "tell-error", role: "alert" }, said.error)] : [];
  if (!said.targets.length) {
    parts.push(el("p", {}, "Nobody: alerts show on this page alone. Name who is told under ", el("code", {}, "[[tell]]"), " in rack.toml, then start the daemon again."));
  }
  for (const target of said.targets) parts.push(one(target, again));
  for (const broker of said.brokers) {
    const state = broker.connected ? ["pass", "open alerts are retained there"] : ["warning", broker.last_error || "not connected"];
    parts.push(el("div", { class: "tell" }, el("h3", {}, `MQTT, ${broker.link}`), el("p", {}, el("i", { class: `shape shape-${state[0]}`, "aria-hidden": "true" }), state[1])));
  }
  return parts;
}

function one(target, again) {
  const button = el("button", { type: "button", class: "quiet", "data-target": target.target, "aria-label": `Test ${target.target}` }, "Test");
  const result = el("p", { class: "tell-tried", role: "status" }, tried.get(target.target) ?? "");
  button.addEventListener("click", () => test(target.target, button, result, again));
  const escalates = target.escalate_from ? `, when ${target.escalate_from} was told and nobody acknowledged in ${long(target.escalate_after_min * 60)}` : "";
  const waiting = target.waiting ? `, ${target.waiting} to go out` : "";
  const parts = [
    el("h3", {}, target.target, el("small", {}, ` ${target.kind}: ${target.priorities.join(", ")}${escalates}`)),
    el("p", {}, el("i", { class: `shape shape-${SHAPES[target.state] ?? "advisory"}`, "aria-hidden": "true" }), el("b", {}, target.state), `${waiting}. ${target.sent} sent, ${target.failed} given up.`),
  ];
  if (target.error) parts.push(el("p", { class: "tell-error" }, target.error));
  if (target.last_sent_ns) parts.push(el("p", { class: "tell-last" }, `Last sent ${moment(target.last_sent_ns)}`));
  return el("div", { class: "tell" }, ...parts, button, result);
}

async function test(target, button, result, again) {
  button.setAttribute("aria-busy", "true");
  setText(result, "A test message is on its way …");
  const said = await send("/tells/test", { target }, TEST_MS);
  button.removeAttribute("aria-busy");
  const text = said.failed ?? said.map((t) => (t.ok ? `Sent in ${t.took_s.toFixed(1)} s: look whether it came.` : `Not sent: ${t.why}`)).join(" ");
  tried.set(target, text);
  setText(result, text);
  again?.();
}
