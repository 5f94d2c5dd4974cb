// Which of an ink's figures were learned, and which are assumptions that no source states.
import { h } from "../lib/dom.js";
import { degrees, duration, percent } from "../lib/format.js";
import { say } from "../lib/words.js";
import { who } from "./terms.js";

/**
 * assumedMark is the small mark beside a figure that rests on an assumption. It leads to what that means.
 * @param {API.InkView | undefined} ink
 */
export function assumedMark(ink) {
  return ink?.assumed ? assumedLink(ink.assumed) : null;
}

/**
 * assumedLink makes the mark.
 * @param {string} [title]
 */
export const assumedLink = (title) => h("a", { class: "assumed", href: "/help#assumed", text: say("assumed.mark"), title });

/**
 * lifeLine writes an ink's life by its data sheet, or as learned in its place.
 * @param {API.InkView} ink
 */
export function lifeLine(ink) {
  const of = (/** @type {number} */ hours) => ({ ink: ink.id, life: duration(hours * 3600), temperature: degrees(20, 0), humidity: percent(50) });
  if (!ink.learned) return say("assumed.sheet", of(ink.life_ref_h));
  return say("assumed.learned", { ...of(ink.learned.life_ref_h), verdict: ink.learned.verdict, by: who(ink.learned.by) });
}

/**
 * assumedLine writes the same as parts of a paragraph, with the mark and what of it is assumed.
 * @param {API.InkView} ink
 */
export function assumedLine(ink) {
  const mark = assumedMark(ink);
  return mark ? [lifeLine(ink), " ", mark, ` ${ink.assumed}`] : [lifeLine(ink)];
}
