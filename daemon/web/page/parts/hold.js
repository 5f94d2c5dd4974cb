// A list keeps its order while hands are on it: nobody may press a button that has just come under
// their finger.

const handMs = 10_000; // after the last touch or movement of the mouse
const keyMs = 60_000; // after the last key, while the focus is in the list

/**
 * heldOrder returns a function that puts rows into the order in which they were last, while hands are
 * on the element; rows that were not there come last. Otherwise it returns them as they are.
 * @param {HTMLElement} element
 * @param {() => number} clock monotonic ms
 */
export function heldOrder(element, clock = () => performance.now()) {
  let [handAt, keyAt] = [-Infinity, -Infinity];
  let down = false;
  /** @type {string[]} */
  let order = [];
  const hand = (/** @type {boolean} */ isDown) => {
    down = isDown;
    handAt = clock();
  };
  element.addEventListener("pointerdown", () => hand(true));
  for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => down && hand(false));
  for (const moves of ["pointermove", "wheel"]) element.addEventListener(moves, () => (handAt = clock()), { passive: true });
  document.addEventListener("keydown", () => (keyAt = clock()));
  const byKeys = () => keyAt > handAt && clock() - keyAt < keyMs && element.contains(document.activeElement);
  const held = () => down || clock() - handAt < handMs || byKeys();
  /**
   * @template {{ key: string }} Row
   * @param {Row[]} rows
   */
  return (rows) => {
    const place = (/** @type {Row} */ row) => (order.includes(row.key) ? order.indexOf(row.key) : order.length);
    const ordered = held() ? [...rows].sort((a, b) => place(a) - place(b)) : rows;
    order = ordered.map((row) => row.key);
    return ordered;
  };
}
