// Asking the bench, and asking it to change something.

const base = "/api/v1/";

// Refused is a change that was not made; its message says why, in the bench's own words.
export class Refused extends Error {
  constructor(detail, status, code = "") {
    super(detail);
    this.status = status;
    this.code = code; // which refusal it is, where the page has an answer to it
  }
}

// get asks for one thing.
export async function get(path) {
  const response = await fetch(base + path, { headers: { Accept: "application/json" }, cache: "no-store" });
  if (!response.ok) throw await refusal(response);
  return response.json();
}

// list gets a list's rows.
export async function list(name) {
  return (await get(name))[name] ?? [];
}

let pair = null;

// whenUnpaired says how this device is paired when a change is refused for want of that: by a
// function that resolves to whether it was done.
export function whenUnpaired(f) {
  pair = f;
}

const listeners = [];

// onChanged has f called after each change that was made, with its path, its body and its answer.
export function onChanged(f) {
  listeners.push(f);
}

// change posts a body and returns the thing changed. A request that got no answer is sent once
// more under the same key, so that it is done once whichever of the two arrived. Where the device
// must be paired first, the person is asked for the PIN in between.
export async function change(path, body) {
  const request = {
    method: "POST",
    headers: { "Content-Type": "application/json", "Idempotency-Key": newKey() },
    body: JSON.stringify(body ?? {}),
  };
  let response = await send(path, request);
  if (response.status === 401) {
    const refused = await refusal(response);
    if (refused.code !== "pin-needed" || !pair) throw refused;
    if (!(await pair())) throw new Refused("This device is not paired, so nothing was changed.", 401, refused.code);
    response = await send(path, request);
  }
  if (!response.ok) throw await refusal(response);
  const answer = response.status === 204 ? {} : await response.json();
  listeners.forEach((f) => f(path, body, answer));
  return { answer, onDisk: response.status !== 202 && answer.on_disk !== false };
}

async function send(path, request) {
  try {
    return await fetch(base + path, request);
  } catch {
    try {
      return await fetch(base + path, request);
    } catch {
      throw new Refused("The bench did not answer. Nothing is known to have changed; try again.", 0);
    }
  }
}

async function refusal(response) {
  let problem = {};
  try {
    problem = await response.json();
  } catch {
    // A proxy's page, or nothing at all: the status has to do.
  }
  const said = problem.detail || problem.title || `The bench answered with status ${response.status}.`;
  const more = (problem.errors ?? []).map((e) => [e.location, e.message].filter(Boolean).join(": "));
  return new Refused([said, ...more].join(" "), response.status, (problem.type ?? "").replace(/^urn:potlifed:/, ""));
}

// crypto.randomUUID is missing where the page is not served over TLS.
function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}
