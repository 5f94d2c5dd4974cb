// A glove taps twice where it means to tap once, and what has just come up under it is not meant.

const bounceMs = 500;
const nearPx = 64; // a second tap as near as this is the same finger

// onlyOnce ignores a tap on a button within half a second of another one at the same place, and a
// key that is held down. What the keyboard presses has no place and is not held back.
export function onlyOnce(root = document) {
  let last = { at: -Infinity, x: 0, y: 0 };
  root.addEventListener("click", (event) => {
    if (event.detail === 0 || !event.target.closest?.("button, summary")) return;
    const at = performance.now();
    const near = Math.hypot(event.clientX - last.x, event.clientY - last.y) <= nearPx;
    if (at - last.at < bounceMs && near) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    last = { at, x: event.clientX, y: event.clientY };
  }, true);
  root.addEventListener("keydown", (event) => {
    if (event.repeat && (event.key === "Enter" || event.key === " ") && event.target.closest?.("button")) event.preventDefault();
  }, true);
}
