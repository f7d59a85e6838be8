// A soak as a file. A long one takes its time: it says how far it is, and can be given up. Without scripts, or with the
// right button, the same link is a plain download.

import { el } from "./dom.js";

function helpDownloads() {
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-export]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || !link.dataset.frames) return;
    event.preventDefault();
    fetchFile(link).catch((fault) => say(link, fault.name === "AbortError" ? "Given up." : `Not done: ${fault.message}`));
  });
}

function say(link, ...what) {
  link.closest("section").querySelector(".download-said").replaceChildren(...what);
}

async function fetchFile(link) {
  const stop = new AbortController();
  const bar = el("progress", { max: 1, "aria-label": "How much of the file has come" });
  const words = el("span", {}, " asked …");
  const cancel = el("button", { type: "button", class: "quiet" }, "Give up");
  cancel.addEventListener("click", () => stop.abort());
  say(link, bar, words, cancel);
  const answer = await fetch(link.href, { signal: stop.signal });
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).failed ?? `the dashboard answered ${answer.status}`);
  const size = Number(answer.headers.get("content-length")), rows = Number(link.dataset.frames);
  const parts = [], reader = answer.body.getReader();
  let bytes = 0, lines = 0, shown = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    parts.push(value);
    bytes += value.length;
    if (!size) for (let i = value.indexOf(10); i >= 0; i = value.indexOf(10, i + 1)) lines += 1;
    if (performance.now() - shown < 100) continue;
    shown = performance.now();
    const part = size ? bytes / size : link.dataset.export === "parquet" ? null : Math.min(1, lines / rows);
    if (part !== null) bar.value = part;
    words.textContent = ` ${(bytes / 1e6).toFixed(1)} MB${part === null ? "" : `, ${Math.round(part * 100)} %`} `;
  }
  const file = URL.createObjectURL(new Blob(parts));
  el("a", { href: file, download: link.download }).click();
  setTimeout(() => URL.revokeObjectURL(file), 60000);
  say(link, `${link.download}: ${(bytes / 1e6).toFixed(1)} MB.`);
}

helpDownloads();
