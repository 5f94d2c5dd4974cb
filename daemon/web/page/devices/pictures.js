// What the sensors measured in the last week, and their checks, as pictures.
import { h } from "../lib/dom.js";
import { picture } from "../lib/picture.js";
import { say } from "../lib/words.js";

/**
 * picturesPanel shows them. Its update asks for them again.
 * @param {HTMLElement} element
 */
export function picturesPanel(element) {
  const week = picture();
  const checks = picture(0.3);
  element.append(h("h2", { text: say("devices.past") }), week.element, checks.element);
  return {
    async update() {
      await Promise.all([week.load("pictures/sensors"), checks.load("pictures/checks")]);
    },
  };
}
