// How a batch ended and where it stood, for the pages that show batches of the past.
import { dayTime } from "../lib/dates.js";
import { h } from "../lib/dom.js";

/** @type {Record<string, string>} */
const outcomes = { "used-up": "used up", discarded: "thrown away", "went-off": "it went off", "not-known": "how is not known", abandoned: "given up" };

/**
 * outcome writes how a batch ended.
 * @param {string | undefined} word
 */
export const outcome = (word) => outcomes[word ?? ""] ?? word ?? "";

/**
 * stays lists the presses that a batch stood on, with times and prints.
 * @param {API.Past | API.History} b
 */
export function stays(b) {
  const presses = b.presses ?? [];
  if (presses.length === 0) return h("p", { text: "It was on no press." });
  return h("ul", {}, presses.map((s) => h("li", { class: "stay" }, h("b", { text: s.press }),
    ` from ${dayTime(s.from)}${s.to ? ` to ${dayTime(s.to)}` : ""}: ${s.prints === 1 ? "1 print" : `${s.prints} prints`}`)));
}
