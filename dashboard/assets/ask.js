// Questions and orders by plain HTTP, for what is beside the live state.

const GIVE_UP_MS = 4000;

export async function get(path) {
  const answer = await fetch(path, { signal: AbortSignal.timeout(GIVE_UP_MS), cache: "no-store", headers: { accept: "application/json" } });
  const said = await answer.json();
  if (!answer.ok || said.failed !== undefined) throw new Error(said.failed ?? `the dashboard answered ${answer.status}`);
  return said;
}

// the answer; or {failed}, and whether it may have been done all the same
export async function send(path, body, giveUpMs = GIVE_UP_MS) {
  try {
    const answer = await fetch(path, {
      method: "POST",
      headers: { accept: "application/json", "content-type": "application/json" },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(giveUpMs),
    });
    const text = await answer.text();
    try {
      return JSON.parse(text);
    } catch {
      return { failed: text.trim() || `the dashboard answered ${answer.status}` };
    }
  } catch (fault) {
    return { failed: `no answer (${fault.name === "TimeoutError" ? "not in time" : fault.message}): it may still be done` };
  }
}

// what a viewer chose; a browser that keeps nothing must not stop the page
export function kept(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

export function keep(name, value) {
  try {
    localStorage.setItem(name, value);
  } catch {
    // then it lasts as long as the page
  }
}
