// A tap that comes before the weight is still is kept, and carried out when it is. What happens to
// it, as a pure function, so that every way it can end is tested.

export const keptAtMostMs = 15_000;

/**
 * A kept tap: the step of the batch that it is for, when it came (monotonic ms), and the scale's
 * time at which it was last carried out in vain.
 * @typedef {{ about: string, since: number, triedAt?: string }} Kept
 */

/**
 * What a scale shows to a kept tap.
 * @typedef {{ about: string, stable: boolean, at: string, onPan: boolean, heard: boolean }} Seen
 */

/**
 * keptNext tells what becomes of a kept tap: it waits, it is carried out now, or it is dropped for a
 * reason.
 * @param {Kept} kept
 * @param {Seen} seen
 * @param {number} now monotonic ms
 * @returns {"wait" | "take" | "step" | "away" | "unheard" | "late"}
 */
export function keptNext(kept, seen, now) {
  if (seen.about !== kept.about) return "step";
  if (!seen.heard) return "unheard";
  if (!seen.onPan) return "away";
  if (now - kept.since > keptAtMostMs) return "late";
  return seen.stable && seen.at !== kept.triedAt ? "take" : "wait";
}
