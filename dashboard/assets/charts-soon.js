// The library that draws charts, asked for while the page is still being read, and compiled beside all else. Dash's
// graph takes window.Plotly where it stands, and waits where it is a promise; without one it would fetch the whole
// library, four times as large.
{
const script = document.createElement("script");
script.src = document.currentScript.src.replace(/[^/]*$/, "plotly-basic.min.js");
window.Plotly = new Promise((ready, fail) => {
  script.onload = () => ready(window.Plotly);
  script.onerror = () => fail(new Error("the charts' library could not be fetched"));
});
document.head.append(script);
}
