// What the list of jobs needs of us: links and verdicts in its cells, one card a job on a narrow screen, Enter opens.
// No module, and before Dash's own scripts: they look for these as soon as they draw the list.

{
const NARROW_PX = 720;

const react = (tag, props, ...children) => window.React.createElement(tag, props, ...children);

function badge(word) {
  return react("span", { className: `badge badge-${word}` }, react("i", { className: `shape shape-${word}` }), word);
}

// tabIndex -1: the arrow keys move in the list, and Enter opens what is in focus
const link = (href, ...what) => react("a", { href, tabIndex: -1, className: "cell-link" }, ...what);

window.dashAgGridComponentFunctions = {
  ...window.dashAgGridComponentFunctions,
  JobLink: ({ data }) => link(`/job/${data.job}`, `Job ${data.job}`),
  BayLink: ({ data }) => link(`/bay/${encodeURIComponent(data.bay)}`, data.bay),
  VerdictBadge: ({ value }) => badge(value),
  Sentence: ({ value }) => react("span", { className: "two-lines" }, value),
  JobCard: ({ data }) =>
    react(
      "div",
      { className: "job-card" },
      react("div", { className: "job-card-head" }, link(`/job/${data.job}`, `Job ${data.job}`), badge(data.verdict)),
      react("div", {}, [data.number, data.unit, data.bay].filter(Boolean).join(" · ")),
      react("div", { className: "job-card-soft" }, `${data.plan} · ${data.started} · ${data.heat}`),
      data.why && react("div", { className: "job-card-soft" }, data.why),
    ),
};

window.dashAgGridFunctions = {
  ...window.dashAgGridFunctions,
  openOnEnter: ({ event, data, column }) => {
    if (event.key !== "Enter") return;
    location.href = column?.getColId() === "bay" ? `/bay/${encodeURIComponent(data.bay)}` : `/job/${data.job}`;
  },
};

// dashboard/chosen.py calls it once the list stands
window.keysoakFitList = async (id) => {
  const api = await window.dash_ag_grid.getApiAsync(id);
  const narrow = window.matchMedia(`(max-width: ${NARROW_PX}px)`);
  const fit = () => {
    const others = api.getColumns().map((c) => c.getColId()).filter((col) => col !== "card" && !col.startsWith("ag-Grid"));
    api.setColumnsVisible(others, !narrow.matches);
    api.setColumnsVisible(["card"], narrow.matches);
    api.setGridOption("headerHeight", narrow.matches ? 0 : 46);
    api.setGridOption("floatingFiltersHeight", narrow.matches ? 0 : 56);
  };
  narrow.addEventListener("change", fit);
  fit();
};
}
