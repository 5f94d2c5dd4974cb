// Enter on a keypad beside the scale confirms, whatever on the page has the focus.

const bounceMs = 500;

/**
 * confirmByEnter calls confirm for each press of Enter that is not meant for something else: a
 * button, a field or a dialog. One that is held down, or bounces, counts once.
 * @param {() => boolean} confirm
 */
export function confirmByEnter(confirm) {
  let last = -Infinity;
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey) return;
    const at = performance.now();
    const bounced = event.repeat || at - last < bounceMs;
    last = at;
    const focus = document.activeElement;
    if (document.querySelector("dialog[open]") || (focus !== null && focus.matches("input, textarea, select, summary, a"))) return;
    if (focus?.matches("button") && !focus.matches(".mix .main")) return;
    event.preventDefault();
    if (!bounced) confirm();
  });
}
