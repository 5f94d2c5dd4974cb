// Asking the bench, and asking it to change something.
import { say } from "./words.js";

const base = "/api/v1/";

// Refused is a change that was not made; its message is in a person's words.
export class Refused extends Error {
  /**
   * @param {string} text for a person
   * @param {number} status of the answer; 0 when there was none
   * @param {string} code tells which refusal it is, where the page reacts to it
   * @param {string} raw is what the bench says to programs, where it says more than the text
   */
  constructor(text, status, code = "", raw = "") {
    super(text);
    this.status = status;
    this.code = code;
    this.raw = raw;
  }
}

/**
 * get asks for one thing. Where there is no answer, or only a part of one, it is Refused with status 0.
 * @param {string} path
 * @returns {Promise<any>}
 */
export async function get(path) {
  const response = await answer(base + path, "application/json");
  return read(() => response.json());
}

/**
 * wholeTable asks for a list as CSV and for all pages that follow, and resolves to one table with one head.
 * @param {string} path
 */
export async function wholeTable(path) {
  let table = "";
  for (let at = base + path; at; ) {
    const response = await answer(at, "text/csv");
    const page = await read(() => response.text());
    table += table ? page.slice(page.indexOf("\n") + 1) : page;
    at = /<([^>]+)>; rel="next"/.exec(response.headers.get("Link") ?? "")?.[1] ?? "";
  }
  return table;
}

/**
 * @param {string} address
 * @param {string} type
 */
async function answer(address, type) {
  const response = await fetch(address, { headers: { Accept: type }, cache: "no-store" }).catch(() => {
    throw new Refused(say("api.not-shown"), 0);
  });
  if (!response.ok) throw await refusal(response);
  return response;
}

/**
 * @template T
 * @param {() => Promise<T>} body
 */
async function read(body) {
  try {
    return await body();
  } catch {
    throw new Refused(say("api.not-shown"), 0);
  }
}

/**
 * list asks for the rows of a list.
 * @template {Page.Kind} K
 * @param {K} name
 * @returns {Promise<Page.Rows[K][]>}
 */
export async function list(name) {
  return (await get(name))[name] ?? [];
}

/** @type {(() => Promise<boolean>) | null} */
let pair = null;

/**
 * whenUnpaired sets how this device is paired when a change is refused because it is not: by a
 * function that resolves to whether it was paired.
 * @param {() => Promise<boolean>} f
 */
export function whenUnpaired(f) {
  pair = f;
}

/**
 * A function that is called after a change with its path, its body and its answer.
 * @typedef {(path: string, body: any, answer: any) => void} Listener
 */

/** @type {Listener[]} */
const listeners = [];

/**
 * onChanged has f called after each change that was made.
 * @param {Listener} f
 */
export function onChanged(f) {
  listeners.push(f);
}

/**
 * change posts a body and returns what was changed, and whether that is on disk. A request that got
 * no answer is sent once more under the same key, so that it is carried out once whichever of the
 * two arrived. Where the device must be paired first, the person is asked for the PIN in between.
 * @param {string} path
 * @param {object} [body]
 * @returns {Promise<{ answer: any, onDisk: boolean }>}
 */
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
    if (!(await pair())) throw new Refused(say("api.may-not"), 401, refused.code);
    response = await send(path, request);
  }
  if (!response.ok) throw await refusal(response);
  const answer = response.status === 204 ? {} : await answerOf(response);
  listeners.forEach((f) => f(path, body, answer));
  return { answer, onDisk: response.status !== 202 && answer.on_disk !== false };
}

/**
 * changeRow makes a change and puts the row that is its answer into the store.
 * @param {import("./store.js").Store} store
 * @param {Page.Kind} kind
 * @param {string} path
 * @param {object} [body]
 */
export async function changeRow(store, kind, path, body) {
  const changed = await change(path, body);
  if (changed.answer.id ?? changed.answer.name) store.put(kind, changed.answer);
  return changed;
}

/**
 * @param {string} path
 * @param {RequestInit} request
 */
async function send(path, request) {
  try {
    return await fetch(base + path, request);
  } catch {
    try {
      return await fetch(base + path, request);
    } catch {
      throw new Refused(say("api.no-answer"), 0);
    }
  }
}

/**
 * answerOf reads the answer to a change. One that is cut short does not tell whether the change was made.
 * @param {Response} response
 */
async function answerOf(response) {
  try {
    return await response.json();
  } catch {
    throw new Refused(say("api.no-answer"), 0);
  }
}

/** @param {Response} response */
async function refusal(response) {
  /** @type {Partial<API.ErrorModel>} */
  let problem = {};
  try {
    problem = await response.json();
  } catch {
    // A proxy's page, or nothing at all: the status has to do.
  }
  const code = (problem.type ?? "").replace(/^urn:potlifed:/, "");
  // The detail and what names fields of the request are for programs: the person has the text.
  const faults = (problem.errors ?? []).map((e) => [e.location, e.message].filter(Boolean).join(": "));
  const raw = [String(response.status), problem.detail || problem.title, ...faults].filter(Boolean).join("; ");
  return new Refused(problem.text || say("api.refused"), response.status, code, problem.text && faults.length === 0 && response.status < 500 ? "" : raw);
}

// crypto.randomUUID is missing where the page is not served over TLS.
function newKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}
