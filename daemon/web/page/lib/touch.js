// Input by a finger in a glove: it taps twice where it means to tap once, and a button that has just
// appeared under it is not meant.

import { h } from "./dom.js";

const bounceMs = 500;
const nearPx = 64; // a second tap as near as this is the same finger
const tapBounceMs = 120; // two taps on purpose are further apart

/**
 * ignoreSecondTaps ignores a tap on a button within half a second of another one at the same
 * place, or of the closing of a dialog in which that one was, and a key that is held down: a dialog closes
 * when the bench has answered, and what is below it was not meant. A press by the keyboard has no place and is not ignored; nor is
 * one on a key that is meant to be pressed twice, as on a PIN pad, which has a guard of its own.
 * @param {Document} root
 */
export function ignoreSecondTaps(root = document) {
  let last = { at: -Infinity, x: 0, y: 0 };
  root.addEventListener("click", (event) => {
    if (event.detail === 0 || !on(event, "button, summary") || on(event, "[data-twice]")) return;
    const at = performance.now();
    const near = Math.hypot(event.clientX - last.x, event.clientY - last.y) <= nearPx;
    if (at - last.at < bounceMs && near) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    last = { at, x: event.clientX, y: event.clientY };
  }, true);
  root.addEventListener("close", () => (last.at = performance.now()), true);
  root.addEventListener("keydown", (event) => {
    if (event.repeat && (event.key === "Enter" || event.key === " ") && on(event, "button")) event.preventDefault();
  }, true);
}

/**
 * on tells whether an event is on an element that the selector finds, or within one.
 * @param {Event} event
 * @param {string} selector
 */
const on = (event, selector) => event.target instanceof Element && event.target.closest(selector) !== null;

/**
 * tapButton makes a button on which every tap counts, however soon it comes, as on a PIN pad or a counter. Only
 * the bounce of a finger is left out.
 * @param {string} label
 * @param {string} className
 * @param {(event: MouseEvent) => unknown} work
 */
export function tapButton(label, className, work) {
  const b = h("button", { type: "button", class: className, text: label, data: { twice: "" } });
  let last = -Infinity;
  b.addEventListener("click", (event) => {
    const now = performance.now();
    if (event.detail > 1 && now - last < tapBounceMs) return; // a press by the keyboard has no detail
    last = now;
    work(event);
  });
  return b;
}
