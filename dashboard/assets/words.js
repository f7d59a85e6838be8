// How figures, times and states are written. A figure that is not known is a dash, never a number.
// dashboard/words.py is its other half: what a viewer chose is kept in a cookie, so that both know it.

export const DASH = "–";
const FAHRENHEIT = /(?:^|; )degrees=F(?:;|$)/.test(document.cookie);
const SIGNS = { Cel: FAHRENHEIT ? "°F" : "°C", K: FAHRENHEIT ? "°F" : "K", boolean: "", 1: "", "/": "", Ohm: "Ω" };

export const signOf = (unit) => SIGNS[unit] ?? unit;

// a figure in the unit in which the viewer reads it; a difference of temperatures has the unit K
export function shown(value, unit) {
  if (!FAHRENHEIT || value === null || value === undefined) return value;
  return unit === "Cel" ? value * 1.8 + 32 : unit === "K" ? value * 1.8 : value;
}

export function chooseDegrees(letter) {
  document.cookie = `degrees=${letter}; path=/; max-age=31536000; samesite=strict`;
  location.reload();
}

export const degreesChosen = () => (FAHRENHEIT ? "F" : "C");

// a sentence of the daemon's: a capital at its beginning, temperatures in the viewer's degrees
export function told(text) {
  const said = FAHRENHEIT ? text.replace(/([-−]?\d+(?:\.(\d+))?)([ \u00a0])°C(?![/\w])/g, inFahrenheit) : text;
  return said.charAt(0).toUpperCase() + said.slice(1);
}

function inFahrenheit(_, figure, places, space) {
  return `${shown(Number(figure.replace("−", "-")), "Cel").toFixed(places?.length ?? 0)}${space}°F`;
}

// a moment in the viewer's own time, with its zone
export function moment(timeNs) {
  if (timeNs === null || timeNs === undefined) return DASH;
  const at = new Date(timeNs / 1e6);
  const day = at.toDateString() === new Date().toDateString() ? {} : { year: "numeric", month: "short", day: "numeric" };
  return at.toLocaleString([], { ...day, hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false, timeZoneName: "short" });
}

export function fixed(value, places) {
  if (value === null || value === undefined) return DASH;
  const text = value.toFixed(places).replace("-", "−");
  return /[1-9]/.test(text) ? text : text.replace("−", ""); // no "−0.0"
}

// 9:30 with its unit beside it: minutes and seconds under an hour, else hours and minutes
export function clock(seconds) {
  if (seconds === null || seconds === undefined) return [DASH, ""];
  const s = Math.max(0, Math.round(seconds));
  const two = (n) => String(n).padStart(2, "0");
  if (s < 3600) return [`${Math.floor(s / 60)}:${two(s % 60)}`, "min:s"];
  return [`${Math.floor(s / 3600)}:${two(Math.floor((s % 3600) / 60))}`, "h:min"];
}

export function long(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s < 60) return `${s} s`;
  const parts = s < 3600 ? [Math.floor(s / 60), "min", s % 60, "s"] : [Math.floor(s / 3600), "h", Math.floor((s % 3600) / 60), "min"];
  return (parts[2] ? parts : parts.slice(0, 2)).join(" ");
}

// where an alert is: its bay, or the rack as a whole where the daemon itself has trouble
export const whereOf = (alert) => alert.bay || "whole rack";

// every state is a word and a shape; the shape is a mask in tokens.css
export function stateOf(bay) {
  if (bay.supply_cut) return { word: "supply cut", shape: "cut" };
  if (bay.status === "done") return { word: bay.verdict ?? "done", shape: bay.verdict ?? "done" };
  return { word: bay.status, shape: bay.status };
}

export function phaseAt(plan, elapsedS) {
  return plan?.phases.find((p) => elapsedS >= p.start_s && elapsedS < p.end_s) ?? null;
}

// the sentence on the edge of a shelf: what matters most of all that could be said
export function sentence(bay) {
  return told(whatMatters(bay));
}

// why the supply was cut, as the rule said it; a daemon that found it so at its start may have no tag of it
export function whyCut(bay) {
  const tag = bay.tags.findLast((t) => t.rule === "keying" && /^(unkeyed: )?supply cut/.test(t.text));
  const text = tag?.text.replace(/^unkeyed: /, "");
  return told(text ?? "supply cut: the radio drew current after it was unkeyed: find what kept it on, then release the bay with a note");
}

function whatMatters(bay) {
  if (bay.supply_cut) return whyCut(bay);
  const trip = bay.tags.findLast((t) => t.event === "trip") ?? bay.tags.findLast((t) => t.priority === "trip");
  if (bay.status === "tripped") return trip?.text ?? bay.reasons[0] ?? "A rule unkeyed this bay.";
  if (bay.status === "waiting") return bay.ask ?? "Waits for a person.";
  if (bay.status === "dropped") return bay.reasons[0] ?? "A person unkeyed this bay.";
  if (bay.status === "done") return bay.reasons[0] ?? "The plan ran to its end.";
  if (bay.status === "empty" && bay.heard === null) return "Nothing was heard from here yet: connect its node, then keysoak probe says which wire is wrong.";
  if (bay.status === "empty") return "Empty. Open the bay to start a soak.";
  const standing = standingTags(bay.tags);
  if (standing.length) return standing.at(-1).text;
  const phase = phaseAt(bay.plan, bay.elapsed_s);
  if (!phase) return "";
  const cycle = phase.on_s ? `, ${long(phase.on_s)} keyed, ${long(phase.off_s)} rested` : "";
  return `${bay.plan.name}: ${phase.drive}${cycle}, ${long(phase.end_s - bay.elapsed_s)} more`;
}

// alerts that were raised and have not returned
export function standingTags(tags) {
  const open = new Map();
  for (const tag of tags) {
    if (tag.event === "returned") open.delete(tag.rule);
    else open.set(tag.rule, tag);
  }
  return [...open.values()];
}
