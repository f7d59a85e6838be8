// The soak strip: a strip-chart that spans the whole plan from first to last minute.

import { el, svg } from "./dom.js";
import { cone, forecastOf } from "./forecast.js";
import { long, phaseAt, shown, signOf, told } from "./words.js";

const BAND = 14, BAND_LARGE = 20; // the plan, along the foot; read from further away where there is room
const LARGE = 150; // paper that is higher than this
const GUTTER = 28; // the scale, printed beside the paper that the pen writes on: ink never lies over it
const HEAD = 9; // the sprocket holes, along the head
const STEPS_S = [10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200];

// every temperature in here is in the viewer's degrees
const degrees = (c) => shown(c, "Cel");

// from the gutter's outer edge: the plan begins at x = 0
export function drawStrip(picture, bay, outer, height) {
  const plan = bay.plan;
  const width = outer - GUTTER;
  picture.setAttribute("viewBox", `${-GUTTER} 0 ${outer} ${height}`);
  picture.setAttribute("class", height > LARGE ? "strip large" : "strip");
  const parts = [svg("rect", { x: -GUTTER, width: outer, height, class: "strip-paper" })];
  parts.push(...sprockets(width));
  if (!plan) {
    picture.replaceChildren(...parts);
    return;
  }
  const limit = degrees(bay.figures.heatsink_limit_c);
  const scale = scaleOf(bay, limit, width, height);
  parts.push(...ahead(bay, scale), ...grid(plan, limit, scale), ...band(plan, scale), ...waits(bay, scale));
  parts.push(...cone(forecastOf(bay, degrees), `cone-${bay.bay}`, scale));
  parts.push(...limitLine(limit, scale), ...trace(bay, scale), ...tags(bay.tags, scale));
  picture.replaceChildren(...parts);
}

function scaleOf(bay, limit, width, height) {
  const temperatures = [...bay.strip.map((p) => degrees(p[1])), ...forecastOf(bay, degrees).map((f) => f[2])];
  const low = Math.floor((Math.min(degrees(20), ...temperatures) - 2) / 10) * 10;
  const high = Math.ceil((Math.max(limit ?? degrees(60), ...temperatures) + 6) / 10) * 10;
  const band = height > LARGE ? BAND_LARGE : BAND;
  const floor = height - band;
  return {
    width, height, floor, band, low, high,
    totalS: bay.plan.total_s,
    x: (s) => (s / bay.plan.total_s) * width,
    y: (c) => floor - ((c - low) / (high - low)) * (floor - HEAD),
  };
}

function sprockets(width) {
  const holes = [];
  for (let x = 8 - GUTTER; x < width; x += 16) holes.push(svg("circle", { cx: x, cy: 4.5, r: 1.9, class: "sprocket" }));
  return holes;
}

function grid(plan, limit, scale) {
  const lines = [];
  const stepS = STEPS_S.find((s) => scale.x(s) >= 14) ?? STEPS_S.at(-1);
  const labelS = STEPS_S.find((s) => scale.x(s) >= (scale.band > BAND ? 95 : 62)) ?? STEPS_S.at(-1);
  for (let s = stepS; s < plan.total_s; s += stepS) {
    const x = scale.x(s).toFixed(1);
    lines.push(svg("path", { d: `M${x} ${HEAD}V${scale.floor}`, class: s % labelS ? "rule" : "rule major" }));
  }
  const room = scale.floor - HEAD;
  const tens = (scale.high - scale.low) / 10;
  const stepC = room / tens >= 13 ? 10 : room / tens >= 6.5 ? 20 : 50;
  for (let c = Math.ceil(scale.low / stepC) * stepC; c < scale.high; c += stepC) {
    const y = Number(scale.y(c).toFixed(1));
    lines.push(svg("path", { d: `M0 ${y}H${scale.width}`, class: c % 50 ? "rule" : "rule major" }));
    const free = c > scale.low && y - HEAD > 5;
    if (free) lines.push(svg("text", { x: -4, y: y + 3.5, class: "scale degrees-word" }, `${c}°`));
  }
  for (let s = labelS; s < plan.total_s - labelS / 3; s += labelS) {
    lines.push(svg("text", { x: scale.x(s) + 3, y: scale.floor - 3, class: "scale" }, long(s)));
  }
  lines.push(svg("path", { d: `M0 ${HEAD}V${scale.floor}`, class: "rule major" }));
  return lines;
}

function band(plan, scale) {
  const parts = [];
  for (const phase of plan.phases) {
    const x = scale.x(phase.start_s);
    const w = Math.max(1, scale.x(phase.end_s) - x);
    const fill = `url(#hatch-${phase.drive})`;
    parts.push(svg("rect", { x, y: scale.floor, width: w, height: scale.band, class: "band-ground" }));
    if (phase.on_s && scale.x(phase.on_s) >= 3) {
      const cycleS = phase.on_s + phase.off_s;
      for (let s = phase.start_s; s < phase.end_s; s += cycleS) {
        const on = Math.min(phase.on_s, phase.end_s - s);
        parts.push(svg("rect", { x: scale.x(s), y: scale.floor, width: scale.x(on), height: scale.band, fill }));
      }
    } else parts.push(svg("rect", { x, y: scale.floor, width: w, height: scale.band, fill }));
    parts.push(svg("rect", { x, y: scale.floor, width: w, height: scale.band, class: "band-edge" }));
    if (w > (scale.band > BAND ? 9.5 : 7.5) * phase.drive.length + 8) {
      parts.push(svg("text", { x: x + w / 2, y: scale.floor + scale.band * 0.75, class: "band-word" }, phase.drive));
    }
  }
  return parts;
}

// where the plan stood still for a person: its time and the clock's part there
function waits(bay, scale) {
  return (bay.waits ?? []).map(([s, lasted]) =>
    svg("g", { class: "stood" }, svg("title", {}, `stood still for ${long(lasted)} until a person had done what was asked`), svg("path", { d: `M${scale.x(s).toFixed(1)} ${HEAD}V${scale.floor}` }), svg("path", { d: `M${(scale.x(s) - 5).toFixed(1)} ${scale.floor}h10l-10 ${scale.band}h10z`, class: "stood-glass" })),
  );
}

function limitLine(limit, scale) {
  if (limit === null || limit === undefined) return [];
  const y = scale.y(limit);
  return [
    svg("path", { d: `M0 ${y}H${scale.width}`, class: "limit-line" }),
    svg("text", { x: scale.width - 4, y: y - 3, class: "limit-word" }, `limit ${Number(limit.toFixed(1))} ${signOf("Cel")}`),
  ];
}

// the paper that the pen has not reached
function ahead(bay, scale) {
  if (!phaseAt(bay.plan, bay.elapsed_s)) return [];
  const x = scale.x(bay.elapsed_s);
  return [svg("rect", { x, y: HEAD, width: Math.max(0, scale.width - x), height: scale.floor - HEAD, class: "ahead" })];
}

function trace(bay, scale) {
  if (!bay.strip.length) return [];
  const points = bay.strip.map(([s, c], i) => `${i ? "L" : "M"}${scale.x(s).toFixed(1)} ${scale.y(degrees(c)).toFixed(1)}`);
  const parts = [svg("path", { d: points.join(""), class: "ink" })];
  if (phaseAt(bay.plan, bay.elapsed_s)) {
    const [s, c] = bay.strip.at(-1);
    parts.push(svg("path", { d: `M${scale.x(s)} ${scale.y(degrees(c))}l8 -4h10v8h-10z`, class: "pen" }));
  }
  return parts;
}

// a rule that trips says so twice in one instant, that it was raised and that it unkeyed: one tag is enough
function hung(all) {
  const shown = all.filter((tag) => tag.event !== "returned");
  return shown.filter((tag, i) => !shown.slice(i + 1).some((t) => t.event === "trip" && t.rule === tag.rule && t.at_s - tag.at_s < 2));
}

function tags(all, scale) {
  const parts = [];
  let lastX = -99, row = 0;
  for (const tag of hung(all)) {
    const x = Math.min(Math.max(scale.x(tag.at_s), 8), scale.width - 8);
    row = x - lastX < 17 ? row + 1 : 0;
    lastX = x;
    const y = HEAD + 3 + (row % 3) * 15;
    parts.push(
      svg(
        "g",
        { class: `tag tag-${tag.priority}`, transform: `translate(${x.toFixed(1)} ${y})` },
        svg("title", {}, told(tag.text)),
        svg("path", { d: `M0 ${HEAD - y - 3}V0`, class: "tag-string" }),
        svg("path", { d: "M-7 3L-3 -1H3L7 3V17H-7Z", class: "tag-card" }),
        svg("path", { d: { advisory: "M-3 9a3 3 0 1 0 6 0a3 3 0 1 0 -6 0Z", warning: "M0 4L5 13H-5Z", trip: "M-2.500 4h5l2.500 2.500v5l-2.500 2.500h-5l-2.500 -2.500v-5Z" }[tag.priority], class: "tag-shape" }),
      ),
    );
  }
  return parts;
}

// the strip in words, for those who don't see it
export function stripWords(bay) {
  if (!bay.plan) return "No plan.";
  const t = bay.strip.length ? `heatsink ${degrees(bay.strip.at(-1)[1]).toFixed(0)} ${signOf("Cel")}` : "no temperature yet";
  const many = hung(bay.tags).length;
  return `Soak strip, ${bay.plan.name}: ${long(bay.elapsed_s)} of ${long(bay.plan.total_s)}, ${t}, ${many} alert${many === 1 ? "" : "s"}.`;
}

// what it is drawn on is measured when that changes: a look at every stroke would lay the whole page out again
const sizes = new ResizeObserver((all) => {
  for (const { target, contentRect } of all) target.paper = [contentRect.width, contentRect.height];
});

export function makeStrip() {
  const picture = svg("svg", { role: "img", class: "strip" });
  const box = el("div", { class: "paper" }, picture);
  sizes.observe(box);
  return { box, picture, drawn: "" };
}

export function setStrip(strip, bay) {
  const [width, height] = strip.box.paper ?? [0, 0];
  if (!width || !height) return;
  // drawn anew only when something moved by a pixel
  const px = bay.plan ? Math.round((bay.elapsed_s / bay.plan.total_s) * (width - GUTTER)) : 0;
  const key = [width, height, bay.job, bay.status, px, Math.round(bay.strip.at(-1)?.[1] ?? 0), bay.tags.length, bay.waits?.length, bay.figures.heatsink_limit_c, forecastEnd(bay)].join("|");
  if (key === strip.drawn) return;
  strip.drawn = key;
  strip.picture.setAttribute("aria-label", stripWords(bay));
  drawStrip(strip.picture, bay, width, height);
}

// the end of the forecast to the degree: that is how much of its change can be seen
const forecastEnd = (bay) => (bay.forecast?.at(-1) ?? []).map(Math.round).join();
