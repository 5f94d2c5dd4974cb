// Ways to correct a wrong pour, in words and grams.
import { grams, pipettes } from "../lib/format.js";

/**
 * added lists what a correction adds, as [part, grams], in the order of pouring.
 * @param {Pick<API.Correction, "add">} correction
 * @returns {[part: string, grams: number][]}
 */
export function added(correction) {
  const { ink_g: ink = 0, hardener_g: hardener = 0, thinner_g: thinner = 0 } = correction.add;
  /** @type {[string, number][]} */
  const parts = [["ink", ink], ["hardener", hardener], ["thinner", thinner]];
  return parts.filter(([, g]) => g > 0);
}

/**
 * firstPart returns the part that a correction asks for first.
 * @param {Pick<API.Correction, "add">} correction
 */
export function firstPart(correction) {
  return added(correction)[0]?.[0];
}

/**
 * correctionWords writes what a correction adds, what that reaches, and the mass of the mix.
 * @param {API.Correction} correction
 */
export function correctionWords(correction) {
  const list = added(correction).map(([part, g]) => `${grams(g)} of ${part}${part === "thinner" ? ` (${pipettes(g)})` : ""}`);
  const aim = correction.to === "exact" ? "exactly on the recipe" : "just inside the tolerance";
  const thinner = correction.thinner_g > 0 ? `, ${grams(correction.thinner_g)} of it thinner` : "";
  return {
    add: `Add ${list.join(", then ")}`,
    aim,
    total: `The finished mix will be ${grams(correction.total_g)}${thinner}.`,
  };
}
