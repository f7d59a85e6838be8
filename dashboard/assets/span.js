// Which part of a soak the curves show, in seconds on their own axis. Dash calls it in the page, since a zoom that asks
// the server twice, once for where it leads and once for what is there, is twice as slow. No module, and before Dash's
// own scripts: they look for it by its name.

{
// closer than this there is nothing more to see: nodes send a few packs a second
const LEAST_S = 10;

// what a drag on the charts asks for: a span, null for the whole, undefined for neither (a change of size is told too)
function dragged(relayout, [first]) {
  if (!relayout) return undefined;
  if (relayout["xaxis.autorange"]) return null;
  const [low, high] = [0, 1].map((i) => relayout[`xaxis.range[${i}]`] ?? relayout["xaxis.range"]?.[i]);
  if (low === undefined || high === undefined) return undefined;
  return [Math.max(first, Number(low) * 60), Number(high) * 60];
}

// the span after a button was pressed
function moved(span, how, [first, last]) {
  if (how === "whole") return null;
  const whole = last - first;
  let [low, high] = span ?? [first, last];
  const middle = (low + high) / 2;
  let wide = high - low;
  if (how === "closer" || how === "wider") {
    wide = how === "closer" ? Math.max(LEAST_S, wide / 2) : wide * 2;
    [low, high] = [middle - wide / 2, middle + wide / 2];
  } else {
    const step = how === "later" ? wide / 2 : -wide / 2;
    [low, high] = [low + step, high + step];
  }
  if (high - low >= whole) return null;
  if (low < first) [low, high] = [first, high - low + first];
  if (high > last) [low, high] = [low - (high - last), last];
  return [Math.max(first, low), high];
}

// of a drag, the buttons, the span as it is, and the first and the last moment that there is
function chooseSpan(relayout, ...rest) {
  const [span, whole] = rest.slice(-2);
  const { no_update, callback_context } = window.dash_clientside;
  const asked = String(callback_context.triggered_id ?? "");
  if (!whole || !asked) return no_update;
  const wanted = asked.endsWith("curves") ? dragged(relayout, whole) : moved(span, asked.split("-").at(-1), whole);
  return wanted === undefined ? no_update : wanted;
}

window.dash_clientside = { ...window.dash_clientside, keysoak: { chooseSpan, dragged, moved } };
}
