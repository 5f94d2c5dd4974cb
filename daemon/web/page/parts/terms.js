// The words of the trade for the words of the API: parts of a mix, outcomes, colours, artworks. A
// word that this page does not know is shown as it is.
import { say } from "../lib/words.js";

/** @type {Record<string, Record<string, Words.Key>>} */
const keys = {
  part: { ink: "part.ink", hardener: "part.hardener", thinner: "part.thinner" },
  outcome: {
    "used-up": "outcome.used-up", discarded: "outcome.discarded", "went-off": "outcome.went-off", "not-known": "outcome.not-known",
    abandoned: "outcome.abandoned",
  },
  colour: { dark: "colour.dark", light: "colour.light", "heavy-light": "colour.heavy-light" },
  artwork: { "large-solid": "artwork.large-solid", normal: "artwork.normal", "fine-detail": "artwork.fine-detail" },
  test: { adhesion: "test.adhesion", rub: "test.rub", other: "test.other" },
  step: {
    cup: "step.cup", ink: "step.ink", hardener: "step.hardener", "stir-hardener": "step.stir-hardener", thinner: "step.thinner",
    "stir-thinner": "step.stir-thinner", "pour-over": "step.pour-over", rest: "step.rest", load: "step.load",
  },
  result: { pass: "result.pass", fail: "result.fail" },
};

/**
 * term returns the words for a word of the API; empty for none.
 * @param {"part" | "outcome" | "colour" | "artwork" | "test" | "result" | "step"} kind
 * @param {string | undefined} word
 */
export function term(kind, word = "") {
  const key = keys[kind]?.[word];
  return key ? say(key) : word;
}

/**
 * who names the person or device that made a change. The bench's own computer has no name while no PIN
 * is set.
 * @param {string | undefined} name
 */
export const who = (name) => (name === "local" ? say("who.local") : name || "–");

/**
 * qualityWords writes how far a figure can be relied on and why; empty where it is good.
 * @param {{ quality: string, why?: string }} row
 */
export function qualityWords({ quality, why }) {
  if (quality === "good") return "";
  const reason = why || say("quality.no-cause");
  return quality === "bad" ? say("quality.bad", { why: reason }) : say("quality.uncertain", { why: reason });
}

/**
 * firstEnd tells which end of the pot life comes first, where tests of prints tell; empty where none do.
 * @param {{ first_end?: string }} row
 */
export function firstEnd(row) {
  if (!row.first_end) return "";
  return row.first_end === "adhesion" ? say("batch.first-adhesion") : say("batch.first-visible");
}
