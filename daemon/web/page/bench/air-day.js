// The air of the last 24 hours, small, beside the mixing.
import { picture } from "../lib/picture.js";

const drawMs = 60_000; // its last value is that of the tile
const dayMs = 86_400_000;

/**
 * airDay shows it, and draws it again every minute. now is bench time in ms, once there is
 * contact.
 * @param {HTMLElement} element
 */
export function airDay(element) {
  const drawn = picture(0.3);
  element.append(drawn.element);
  let at = -Infinity;
  return {
    update(/** @type {number} */ now) {
      if (now - at < drawMs || document.hidden || element.offsetParent === null) return;
      at = now;
      const from = new Date(now - dayMs).toISOString();
      drawn.load(`pictures/air?batches=false&from=${encodeURIComponent(from)}`);
    },
  };
}
