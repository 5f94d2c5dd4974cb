// Which of an ink's figures were learned, and which are assumptions that no source states.
import { h } from "../lib/dom.js";
import { duration } from "../lib/format.js";

/**
 * assumedMark is the small mark beside a figure that rests on an assumption.
 * @param {API.InkView | undefined} ink
 */
export function assumedMark(ink) {
  return ink?.assumed ? h("span", { class: "assumed", text: "assumed", title: ink.assumed }) : null;
}

/**
 * lifeLine writes an ink's life by its data sheet, or as learned in its place.
 * @param {API.InkView} ink
 */
export function lifeLine(ink) {
  const life = (/** @type {number} */ hours) => `about ${duration(hours * 3600)} at 20\u00a0°C and 50\u00a0% RH`;
  if (!ink.learned) return `By its data sheet ${ink.id} lives ${life(ink.life_ref_h)}.`;
  return `${ink.id} lives ${life(ink.learned.life_ref_h)}, as learned from this shop's batches (${ink.learned.verdict}); accepted by ${ink.learned.by}.`;
}

/**
 * assumedLine writes the same as parts of a paragraph, with what of it is assumed.
 * @param {API.InkView} ink
 */
export function assumedLine(ink) {
  const mark = assumedMark(ink);
  return mark ? [lifeLine(ink), " ", mark, ` ${ink.assumed}`] : [lifeLine(ink)];
}
