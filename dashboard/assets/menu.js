// The menu in the head, and the viewer's degrees at the foot.

import { el } from "./dom.js";
import { chooseDegrees, degreesChosen } from "./words.js";

export function helpMenu() {
  const menu = document.getElementById("more");
  document.addEventListener("click", (event) => {
    if (!menu.contains(event.target)) menu.open = false;
  });
  menu.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !menu.open) return;
    menu.open = false;
    menu.querySelector("summary").focus();
  });
  menu.addEventListener("focusout", (event) => {
    if (event.relatedTarget && !menu.contains(event.relatedTarget)) menu.open = false;
  });
  if (menu.querySelector(`a[href="${location.pathname}"]`)) menu.querySelector("summary").classList.add("holds");
}

export function degreesChoice() {
  const place = document.getElementById("degrees");
  place.setAttribute("role", "group");
  place.setAttribute("aria-label", "Degrees in which temperatures are shown");
  for (const letter of ["C", "F"]) {
    const button = el("button", { type: "button", class: "quiet", "aria-pressed": String(degreesChosen() === letter) }, `°${letter}`);
    button.addEventListener("click", () => chooseDegrees(letter));
    place.append(button);
  }
}
