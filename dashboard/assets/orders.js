// Orders of a person: one press, one POST, a loud result. Knows nothing of the live state, so that it works while
// everything else is stale. Without scripts the same forms are sent by the browser itself.

const GIVE_UP_MS = 3000;

export function listen() {
  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-order]");
    if (!form) return;
    event.preventDefault();
    give(form);
  });
}

async function give(form) {
  const kind = form.dataset.order;
  const button = form.querySelector("button[type=submit]");
  button.classList.add("asked");
  if (kind !== "unkey" && button.disabled) return;
  if (kind === "soak") button.disabled = true; // a second press would be a second soak; unkey may be pressed for ever
  try {
    const said = await post(form.getAttribute("action"), kind === "soak" ? fields(form) : null);
    tell(kind, form, said);
  } finally {
    button.classList.remove("asked");
    if (kind === "soak") button.disabled = false;
  }
}

export async function post(path, body) {
  try {
    const answer = await fetch(path, {
      method: "POST",
      headers: { accept: "application/json", "content-type": "application/json" },
      body: body === null ? undefined : JSON.stringify(body),
      signal: AbortSignal.timeout(GIVE_UP_MS),
    });
    const text = await answer.text();
    const unsure = answer.status >= 500;
    try {
      return { ...JSON.parse(text), unsure };
    } catch {
      return { failed: text.trim() || `the dashboard answered ${answer.status}`, unsure };
    }
  } catch (fault) {
    const how = fault.name === "TimeoutError" ? "within 3 s" : `(${fault.message})`;
    return { failed: `the dashboard does not answer ${how}`, unsure: true };
  }
}

// the fields of a form, and what its page adds to them
function fields(form) {
  return { ...named(form), ...form.more?.() };
}

function named(form) {
  return Object.fromEntries([...new FormData(form)].filter(([name, value]) => typeof value === "string" && (value || name !== "booking")));
}

function tell(kind, form, said) {
  const where = form.querySelector(".form-said");
  if (where) {
    where.textContent = said.failed ?? "";
    if (said.failed !== undefined && !said.unsure) return;
  }
  if (said.failed === undefined) {
    const bays = (said.bays ?? []).join(", ");
    const what = kind === "unkey" ? `Unkeyed: ${bays || "no bay was keyed"}` : `${bays}: ${said.done}`;
    show("done", what, kind === "unkey" ? "Look at the radios: none may still transmit." : "");
  } else if (kind === "unkey") {
    show("failed", "UNKEYING FAILED: pull the key line, or switch the supply off, now.", said.failed);
  } else {
    // whoever did not answer may have heard the order all the same
    show("failed", said.unsure ? "No answer: it may still be done. Watch the bay." : "Not done.", said.failed);
  }
}

let hide = 0;

function show(outcome, what, more) {
  const said = document.getElementById("said");
  const when = new Date().toLocaleTimeString([], { hour12: false });
  const word = document.createElement("strong");
  word.textContent = what;
  const rest = document.createElement("span");
  rest.textContent = ` ${more} (${when})`;
  const close = document.createElement("button");
  close.type = "button";
  close.textContent = "Close";
  close.addEventListener("click", () => (said.className = "said"));
  said.replaceChildren(word, rest, close);
  said.className = `said shown ${outcome}`;
  clearTimeout(hide);
  // good news goes by itself; bad news stays until it is closed
  if (outcome === "done") hide = setTimeout(() => (said.className = "said"), 15000);
}
