// A chart, or all of them, as a picture to keep: on white paper, as wide as a page of text is read.

import { el } from "./dom.js";
import { draws } from "./parts.js";

const WIDTH = 1200, INK = "#1d1b18", RULE = "#d9d2c2";

function addChartTools() {
  for (const place of document.querySelectorAll(".chart-tools:empty")) {
    const which = el("select", { "aria-label": "Which chart the picture shows" }, el("option", { value: "" }, "All charts"));
    const offer = () => {
      if (which.options.length > 1) return;
      for (const [axis, title] of charts(graphOf(place))) which.append(el("option", { value: axis }, title));
    };
    which.addEventListener("focus", offer);
    which.addEventListener("pointerdown", offer);
    place.append(which, button("PNG", place, which), button("SVG", place, which));
  }
}

function button(format, place, which) {
  const made = el("button", { type: "button", class: "quiet", "aria-label": `Save the picture as ${format}` }, format);
  made.addEventListener("click", () => save(graphOf(place), which.value, format.toLowerCase(), place.dataset.name));
  return made;
}

const graphOf = (place) => document.querySelector(`#${place.dataset.graph} .js-plotly-plot`);

const axesOf = (layout) => Object.keys(layout).filter((key) => /^yaxis\d+$/.test(key));

// each axis with what stands over its chart
function charts(graph) {
  if (!graph?.layout) return [];
  const headings = graph.layout.annotations ?? [];
  return axesOf(graph.layout).map((axis) => {
    const head = headings.find((a) => a.yref === "paper" && a.xref === "paper" && a.y === graph.layout[axis].domain[1]);
    return [axis, /<b>(.*?)<\/b>/.exec(head?.text ?? "")?.[1] ?? axis];
  });
}

function save(graph, axis, format, name) {
  if (!graph?.layout || !window.Plotly) return;
  const { data, layout } = structuredClone({ data: graph.data, layout: graph.layout });
  Object.assign(layout, { paper_bgcolor: "#fff", plot_bgcolor: "#fff", font: { ...layout.font, color: INK }, autosize: false });
  for (const key of Object.keys(layout)) if (/^[xy]axis/.test(key)) layout[key].gridcolor = RULE;
  const all = !axis;
  const picture = all ? { data, layout } : one(data, layout, axis);
  window.Plotly.downloadImage(picture, { format, width: WIDTH, height: all ? 1100 : 480, scale: format === "png" ? 2 : 1, filename: all ? name : `${name} ${charts(graph).find(([a]) => a === axis)[1]}` });
}

// one chart, and the plan under it
function one(data, layout, axis) {
  const short = axis.replace("axis", "");
  const top = layout[axis].domain[1];
  const own = (mark) => mark.yref === short || mark.yref.startsWith(`${short} `) || (mark.yref === "paper" && (mark.xref === "x" || mark.y === top));
  for (const key of axesOf(layout)) if (key !== axis) delete layout[key];
  layout[axis].domain = [0.16, 1];
  layout.yaxis.domain = [0, 0.09];
  layout.shapes = layout.shapes.filter(own);
  layout.annotations = layout.annotations.filter(own).map((a) => (a.y === top ? { ...a, y: 1 } : a));
  return { data: data.filter((t) => t.yaxis === short || t.yaxis === "y"), layout };
}

draws(addChartTools);
