// The forecast on a soak strip: a cone ahead of the pen that pales with the time ahead, its middle a broken line.

import { svg } from "./dom.js";

// (seconds, low, middle, high) of what is still ahead, in the viewer's degrees
export function forecastOf(bay, degrees) {
  return (bay.forecast ?? []).filter(([s]) => s >= bay.elapsed_s).map(([s, ...c]) => [s, ...c.map(degrees)]);
}

export function cone(forecast, id, scale) {
  if (forecast.length < 2) return [];
  const at = (s, c) => `${scale.x(s).toFixed(1)} ${Math.min(Math.max(scale.y(c), 0), scale.floor).toFixed(1)}`;
  const upper = forecast.map(([s, , , high]) => at(s, high));
  const lower = forecast.map(([s, low]) => at(s, low)).reverse();
  const from = scale.x(forecast[0][0]), to = scale.x(forecast.at(-1)[0]);
  const pale = svg(
    "linearGradient",
    { id, gradientUnits: "userSpaceOnUse", x1: from, x2: to, y1: 0, y2: 0 },
    svg("stop", { offset: 0, class: "cone-near" }),
    svg("stop", { offset: 1, class: "cone-far" }),
  );
  return [
    pale,
    svg("path", { d: `M${[...upper, ...lower].join("L")}Z`, class: "cone", fill: `url(#${id})` }),
    svg("path", { d: `M${forecast.map(([s, , middle]) => at(s, middle)).join("L")}`, class: "cone-middle" }),
  ];
}
