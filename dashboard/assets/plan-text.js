// A plan as text: what the band says is written as TOML; the comments at its head and its limits stay as they are.

const HEAD = /^(?:[ \t]*#[^\n]*\n|[ \t]*\n)*/;
const LIMITS = /^[ \t]*\[limits\][^\n]*$/m;

const quoted = (text) => JSON.stringify(text).replace(/\u007f/g, "\\u007f");

export function writePlan(name, phases, before) {
  const head = HEAD.exec(before)[0].trim();
  const limits = LIMITS.exec(before);
  const parts = [`name = ${quoted(name)}`, ...phases.map(writePhase)];
  if (limits) parts.push(before.slice(limits.index).trim());
  return `${head ? `${head}\n` : ""}${parts.join("\n\n")}\n`;
}

function writePhase({ drive, minutes, on_s, off_s, ask }) {
  const lines = ["[[phase]]", `drive = ${quoted(drive)}`, `minutes = ${Number(minutes.toFixed(3))}`];
  if (on_s) lines.push(`on_s = ${on_s}`, `off_s = ${off_s}`);
  if (ask) lines.push(`ask = ${quoted(ask)}`);
  return lines.join("\n");
}

export function phasesOf(plan) {
  return plan.phases.map((p) => ({
    drive: p.drive,
    minutes: (p.end_s - p.start_s) / 60,
    on_s: p.on_s,
    off_s: p.off_s,
    ask: p.ask,
  }));
}
