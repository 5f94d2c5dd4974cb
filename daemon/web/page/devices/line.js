// A thing of the page of devices: its sign, its state in words, its reading, and more facts.
import { h, keyed, setText, setWords, show } from "../lib/dom.js";
import { sign } from "../lib/signs.js";
import { say } from "../lib/words.js";

/**
 * The sign of each standing.
 * @type {Record<import("./condition.js").Standing, string>}
 */
export const signs = { fine: "in-order", doubt: "soon", bad: "do-not-print", unknown: "unknown", out: "empty" };

/**
 * line makes one. draw shows it; what is false or empty of the facts is left out. detail is behind a
 * button.
 * @param {HTMLElement | null} buttons
 */
export function line(buttons) {
  const shape = h("span", { class: "device-sign" });
  const name = h("h3", { class: "device-name" });
  const words = h("p", { class: "device-words" });
  const figure = h("p", { class: "device-figure" });
  const facts = h("ul", { class: "device-facts" });
  const raw = h("p", { class: "device-raw" });
  const fold = h("details", { class: "device-detail" }, h("summary", { text: say("dialog.details") }), raw);
  const element = h("li", { class: "device" }, shape, h("div", { class: "device-text" }, name, words, figure, facts, fold), buttons);
  let drawn = "";
  return {
    element,
    /** @param {{ id: string, reading?: string, facts?: (string | false | null | undefined)[] } & import("./condition.js").State} thing */
    draw({ id, stands, words: state, detail = "", reading = "", facts: more = [] }) {
      if (drawn !== stands) shape.replaceChildren(sign(signs[stands]));
      drawn = stands;
      element.dataset.stands = stands;
      setWords(name, id);
      setWords(words, state);
      setWords(figure, reading);
      show(figure, reading !== "");
      setText(raw, detail);
      show(fold, detail !== "");
      keyed(facts, more.flatMap((text) => text || []), (text) => text, textItem);
    },
  };
}

/**
 * textItem is an item of a list whose text is its key.
 * @param {string} text
 */
export const textItem = (text) => ({ element: h("li", { text }), update() {} });

/**
 * listPanel puts a list under a heading into an element. empty is shown while it has no rows.
 * @param {HTMLElement} element
 * @param {string} title
 * @param {string} empty
 */
export function listPanel(element, title, empty) {
  const list = h("ul", { class: "devices" });
  const none = h("p", { class: "quiet", text: empty });
  element.append(h("h2", { text: title }), none, list);
  return { list, none };
}
