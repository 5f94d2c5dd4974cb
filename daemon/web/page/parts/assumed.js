// What of an ink's life was learned, and what is an assumption rather than anybody's word.
import { h } from "../lib/dom.js";
import { duration } from "../lib/format.js";

// assumedMark is the small mark beside a figure that rests on an assumption.
export function assumedMark(ink) {
  return ink?.assumed ? h("span", { class: "assumed", text: "assumed", title: ink.assumed }) : null;
}

// assumedLine says what an ink's data sheet, or what was learned in its place, comes to, and
// what of it is assumed.
export function assumedLine(ink) {
  const life = (hours) => `about ${duration(hours * 3600)} at 20\u00a0°C and 50\u00a0% RH`;
  const line = ink.learned
    ? [`${ink.id} lives ${life(ink.learned.life_ref_h)}, as learned from this shop's batches (${ink.learned.verdict}); accepted by ${ink.learned.by}.`]
    : [`By its data sheet ${ink.id} lives ${life(ink.life_ref_h)}.`];
  return ink.assumed ? [...line, " ", assumedMark(ink), ` ${ink.assumed}`] : line;
}
