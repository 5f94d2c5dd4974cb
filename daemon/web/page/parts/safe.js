// Until when a cup is safe, where it goes onto a press or comes off one.
import { say } from "../lib/words.js";
import { parseEnds } from "./axis.js";
import { lifeWords } from "./life.js";

/**
 * pastSafe tells whether by its age a batch may have gone off: somebody looks at it before it goes onto a
 * press. The bench says so, or its earliest end has passed since.
 * @param {{ ends_at?: API.SpanTime | null, look_first?: boolean }} batch
 * @param {number} now
 */
export function pastSafe(batch, now) {
  const ends = parseEnds(batch);
  return ends !== null && (Boolean(batch.look_first) || ends.low <= now);
}

/**
 * cupFor returns the cup on the press for which a mix waits; undefined where there is none. The list of presses
 * may know that the mix itself was put there before its own row does: that is no other cup.
 * @param {Pick<import("../lib/store.js").Store, "get">} store
 * @param {API.BatchView} mix
 */
export function cupFor(store, mix) {
  const id = mix.for_press ? store.get("presses", mix.for_press)?.batch : undefined;
  return id && id !== mix.id ? store.get("batches", id) : undefined;
}

/**
 * outlasts tells whether a cup on a press is safe for at least as long as a mix of the same ink that waits
 * for that press: the mix does not replace it now. The bench decides the same, see next_mix.
 * @param {API.BatchView | undefined} on
 * @param {API.BatchView} mix
 * @param {number} now
 */
export function outlasts(on, mix, now) {
  const [is, waits] = [on && parseEnds(on), parseEnds(mix)];
  return Boolean(on && is && waits && on.ink === mix.ink && !pastSafe(on, now) && waits.low > now && is.low >= waits.low);
}

/**
 * lifeNote writes until when a batch is safe, or how long ago its latest end was; empty where that is not known.
 * @param {API.BatchView | undefined} batch
 * @param {number} now
 */
export function lifeNote(batch, now) {
  const ends = batch && parseEnds(batch);
  if (!ends) return "";
  const { lead, figure, band } = lifeWords(ends, now);
  return ends.high <= now ? band : [lead, figure].filter(Boolean).join(" ");
}

/**
 * goesOn writes which cup goes onto a press, and its life.
 * @param {API.BatchView} batch
 * @param {number} now
 */
export function goesOn(batch, now) {
  const life = lifeNote(batch, now);
  return life && say("place.goes-on", { batch: batch.id, life });
}
