// Cautions where the hand is, and the links to the safety data sheets.
import { h, keyed, show } from "../lib/dom.js";
import { say } from "../lib/words.js";

/**
 * care makes a caution in a dialog.
 * @param {string} text
 */
export const care = (text) => h("p", { class: "care-now", text });

/**
 * sheetLinks makes a line with the links to the safety data sheets of an ink and of what is mixed with
 * it. update shows those of one part, or of all parts where none is named.
 */
export function sheetLinks() {
  const element = h("p", { class: "sheets", hidden: true });
  return {
    element,
    /**
     * @param {API.InkView | undefined} ink
     * @param {string | null} [part] ink, hardener or thinner
     */
    update(ink, part) {
      const sheets = (ink?.safety_data_sheets ?? []).filter((sheet) => !part || sheet.part === part);
      keyed(element, sheets, (sheet) => `${sheet.id} ${sheet.link}`, (sheet) => ({
        element: h("a", { class: "help-link", href: sheet.link, target: "_blank", rel: "noopener noreferrer", text: say("sheets.of", { material: sheet.id }) }),
        update() {},
      }));
      show(element, sheets.length > 0);
    },
  };
}
