// Which press needs a mix next, and the words for it.
import { clockTime } from "../lib/format.js";
import { say } from "../lib/words.js";
import { parseEnds } from "../parts/axis.js";
import { pastSafe } from "../parts/safe.js";

/** @typedef {Pick<import("../lib/store.js").Store, "get" | "all">} Rows */

/**
 * mixFor returns the mix that waits for a press or is made for it: the one that the bench names, or else the
 * first one that may still be good; undefined when there is none.
 * @param {Rows} store
 * @param {API.PressView} press
 * @param {number} now
 */
export function mixFor(store, press, now) {
  const waits = store.all("batches").filter((b) => b.for_press === press.id && !b.press && b.step && (b.state === "mixing" || !pastSafe(b, now)));
  return waits.find((b) => b.id === press.next_mix) ?? waits[0];
}

const soonMs = 3_600_000; // a mix for a press that runs out within this is made before one for an empty press

/**
 * needOf tells how soon a press needs a mix, in words too. A rank of 0 is a press that runs out soon, 1 an
 * empty one, 2 one that prints for longer, and 3 one that has its mix; of one rank the press with the earliest time comes first.
 * @param {Rows} store
 * @param {API.PressView} press
 * @param {number} now
 * @returns {{ rank: number, at: number, words: string }}
 */
export function needOf(store, press, now) {
  const on = press.batch ? store.get("batches", press.batch) : undefined;
  const mix = mixFor(store, press, now);
  if (mix) {
    const low = parseEnds(mix)?.low;
    return { rank: 3, at: low ?? Infinity, words: low === undefined ? say("start.being-mixed", { mix: mix.id }) : say("start.supplied", { safe: clockTime(low, now) }) };
  }
  if (!press.batch) return { rank: 1, at: 0, words: say("start.empty") };
  const begin = on?.next_mix_at ? Date.parse(on.next_mix_at) : NaN;
  if (begin <= now) return { rank: 0, at: begin, words: say("start.next-now") };
  if (begin > now) return { rank: begin <= now + soonMs ? 0 : 2, at: begin, words: say("start.next-at", { at: clockTime(begin, now) }) };
  return { rank: 2, at: Infinity, words: say("start.holds", { batch: press.batch }) };
}

/**
 * neediest returns the press that needs a mix next; of several that need it alike, the first. It is undefined
 * where every press has its mix already, or there is none.
 * @param {Rows} store
 * @param {API.PressView[]} presses
 * @param {number} now
 */
export function neediest(store, presses, now) {
  const needs = presses.map((press) => ({ press, ...needOf(store, press, now) }));
  needs.sort((a, b) => a.rank - b.rank || (a.at === b.at ? 0 : a.at - b.at)); // a stable sort
  return needs[0] && needs[0].rank < 3 ? needs[0].press : undefined;
}

/**
 * inkOn returns the ink of the cup on a press; undefined where there is none.
 * @param {Rows} store
 * @param {API.PressView} press
 */
export const inkOn = (store, press) => (press.batch ? store.get("batches", press.batch)?.ink : undefined);

/**
 * takesInk returns the presses that need no change of ink for a mix: those that print its ink, and those
 * without a cup.
 * @param {Rows} store
 * @param {API.PressView[]} presses
 * @param {string} ink
 */
export const takesInk = (store, presses, ink) => presses.filter((press) => !press.batch || inkOn(store, press) === ink);
