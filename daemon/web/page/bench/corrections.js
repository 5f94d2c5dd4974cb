// Ways to correct a wrong pour, in words and grams.
import { grams, percent, pipettes } from "../lib/format.js";
import { say } from "../lib/words.js";
import { term } from "../parts/terms.js";

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
 * pourList writes what is poured in, part after part.
 * @param {Pick<API.Correction, "add">} correction
 */
export function pourList(correction) {
  const list = added(correction).map(([part, g]) => {
    const what = { mass: grams(g), part: term("part", part) };
    return part === "thinner" ? say("correction.pour-thinner", { ...what, pipettes: pipettes(g) }) : say("correction.pour", what);
  });
  return list.reduce((first, then) => say("correction.then", { first, then }));
}

/**
 * aimWords writes how near to the recipe a correction comes, with the deviation that stays.
 * @param {Pick<API.Cure, "to" | "off_pct">} correction
 */
export function aimWords({ to, off_pct: left = 0 }) {
  if (to === "exact") return say("correction.exact");
  const off = percent(Math.abs(left), 1);
  if (left === 0) return say("correction.tolerance");
  return left > 0 ? say("correction.tolerance-more", { off }) : say("correction.tolerance-less", { off });
}

/**
 * correctionWords writes what a correction adds, what that reaches, and the mass of the mix.
 * @param {API.Correction} correction
 */
export function correctionWords(correction) {
  const total = { total: grams(correction.total_g), thinner: grams(correction.thinner_g) };
  return {
    add: say("correction.add", { what: pourList(correction) }),
    aim: aimWords(correction),
    total: correction.thinner_g > 0 ? say("correction.total-thinner", total) : say("correction.total", { total: total.total }),
  };
}
