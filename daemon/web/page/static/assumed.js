// What of an ink's life is an assumption rather than the data sheet's word.
import { h } from "./dom.js";
import { duration } from "./format.js";

// assumedMark is the small mark beside a figure that rests on an assumption.
export function assumedMark(ink) {
  return ink?.assumed ? h("span", { class: "assumed", text: "assumed", title: ink.assumed }) : null;
}

// assumedLine says what an ink's data sheet comes to, and what of it is assumed.
export function assumedLine(ink) {
  const life = `By its data sheet ${ink.id} lives about ${duration(ink.life_ref_h * 3600)} at 20\u00a0°C and 50\u00a0% RH.`;
  return ink.assumed ? [life, " ", assumedMark(ink), ` ${ink.assumed}`] : [life];
}
