// Where a refusal of the bench is shown: in a person's words, and what it says to programs behind
// "Details".
import { h, show } from "./dom.js";
import { say } from "./words.js";

// refusalLine makes the hidden place for it.
export function refusalLine() {
  return h("div", { class: "refusal", role: "alert", hidden: true });
}

/**
 * showRefusal shows it.
 * @param {HTMLElement} element
 * @param {import("./api.js").Refused} refused
 */
export function showRefusal(element, refused) {
  const raw = refused.raw && h("details", {}, h("summary", { text: say("dialog.details") }), h("code", { text: refused.raw }));
  element.replaceChildren(refused.message, ...(raw ? [raw] : []));
  element.dataset.code = refused.code;
  show(element, true);
}
