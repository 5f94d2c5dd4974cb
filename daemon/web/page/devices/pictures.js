// What the sensors measured in the last month, how sensors and scales were, and the checks, as pictures.
import { isoDay } from "../lib/dates.js";
import { h } from "../lib/dom.js";
import { picture } from "../lib/picture.js";
import { say } from "../lib/words.js";

const monthMs = 30 * 24 * 3600e3;

/**
 * picturesPanel shows them. Its update asks for all of them again, and checked for the one of the checks.
 * @param {HTMLElement} element
 */
export function picturesPanel(element) {
  const month = picture(0.45, 420);
  const checks = picture(0.35);
  const sensors = picture(0.8, 520);
  const scales = picture(0.6, 390);
  element.append(h("h2", { text: say("devices.past") }), month.element, sensors.element, scales.element, checks.element);
  const checked = () => checks.load("pictures/checks");
  return {
    checked,
    async update() {
      await Promise.all([month.load(`pictures/sensors?from=${isoDay(Date.now() - monthMs)}`), sensors.load("pictures/health?of=sensors"), scales.load("pictures/health?of=scales"), checked()]);
    },
  };
}
