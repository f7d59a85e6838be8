// What else is drawn on a page: the modules of its own say so as they are loaded (dashboard/site.py names them), and
// main.js has all of them draw whenever there is news, and twice a second where there is none.

const parts = [];

export function draws(part) {
  parts.push(part);
}

export function drawParts(view) {
  for (const part of parts) part(view);
}
