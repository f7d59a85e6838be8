// What the list of jobs needs of us: links and verdicts in its cells, one card a job on a narrow screen, Enter opens.
// No module, and before Dash's own scripts: they look for these as soon as they draw the list.

{
const NARROW_PX = 720, MIDDLE_PX = 1150;
// what a tablet has no room for: a second line of the unit's cell says it there, and the search finds it all the same
const WIDE_ONLY = ["number", "bay", "plan", "started", "lasted_s"];

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
  UnitCell: ({ data }) =>
    react("span", { className: "unit-cell" }, data.unit, react("small", {}, `${data.bay} · ${data.started}`)),
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

// a box under each head is there when somebody wants it, or left a word in one
function filterOnDemand(api, fit) {
  const press = document.getElementById("jobs-filters");
  const show = (on) => {
    press.setAttribute("aria-pressed", String(on));
    api.setGridOption("defaultColDef", { ...api.getGridOption("defaultColDef"), floatingFilter: on });
    fit(); // which columns are shown was forgotten by that
  };
  press.disabled = false; // until here nobody would have heard a press
  press.addEventListener("click", () => show(press.getAttribute("aria-pressed") !== "true"));
  const written = () => Object.keys(api.getFilterModel()).some((column) => column !== "verdict");
  const unhide = () => written() && press.getAttribute("aria-pressed") !== "true" && show(true);
  api.addEventListener("filterChanged", unhide); // what was left from the last time comes a moment later
  show(written());
}

// dashboard/chosen.py calls it once the list stands
window.keysoakFitList = async (id) => {
  const api = await window.dash_ag_grid.getApiAsync(id);
  const [narrow, middle] = [NARROW_PX, MIDDLE_PX].map((px) => window.matchMedia(`(max-width: ${px}px)`));
  const fit = () => {
    const others = api.getColumns().map((c) => c.getColId()).filter((col) => col !== "card" && !col.startsWith("ag-Grid"));
    const shown = others.filter((col) => !narrow.matches && !(middle.matches && WIDE_ONLY.includes(col)));
    api.setColumnsVisible(others.filter((col) => !shown.includes(col)), false);
    api.setColumnsVisible(shown, true);
    api.setColumnsVisible(["card"], narrow.matches);
    if (!narrow.matches) api.setColumnWidths([{ key: "unit", newWidth: middle.matches ? 172 : 138 }]);
    api.setGridOption("headerHeight", narrow.matches ? 0 : 46);
  };
  for (const width of [narrow, middle]) width.addEventListener("change", fit);
  filterOnDemand(api, fit); // and fits
  const pages = () => document.querySelector(".ledger").classList.toggle("one-page", api.paginationGetTotalPages() < 2);
  api.addEventListener("paginationChanged", pages);
  pages();
};
}
