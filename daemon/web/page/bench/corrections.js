// Ways to put a wrong pour right, in words and grams.
import { grams, pipettes } from "../lib/format.js";

const parts = ["ink", "hardener", "thinner"];

// added lists what a correction adds, as [part, grams], in the order of pouring.
export function added(correction) {
  return parts.map((part) => [part, correction.add?.[`${part}_g`]]).filter(([, g]) => g > 0);
}

// firstPart is the part that a correction asks for first.
export function firstPart(correction) {
  return added(correction)[0]?.[0];
}

// correctionWords says a correction: what to add, what that reaches, how the mix ends up.
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
