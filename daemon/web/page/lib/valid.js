// What a form lacks, beside the place where it is missing and in our own words: a browser's bubble has its own
// language and is gone after a few seconds.
import { h } from "./dom.js";
import { say } from "./words.js";

/**
 * complete tells whether a form can be sent. Where something is missing or out of range it says so there, and
 * brings the first such place into view. The form must leave the check to it, by noValidate.
 * @param {HTMLFormElement} form
 */
export function complete(form) {
  for (const old of form.querySelectorAll(".fault")) old.remove();
  const asked = new Set();
  /** @type {HTMLElement[]} */
  const places = [];
  for (const input of form.querySelectorAll("input, textarea")) {
    if (!(input instanceof HTMLInputElement || input instanceof HTMLTextAreaElement)) continue;
    input.removeAttribute("aria-invalid");
    const place = input.closest("fieldset.chips, .field") ?? input.parentElement;
    if (!(place instanceof HTMLElement) || !place.checkVisibility() || asked.has(place) || input.validity.valid) continue;
    asked.add(place);
    places.push(place);
    tell(input, place);
  }
  const [first] = places;
  if (!first) return true;
  const input = first.querySelector("input, textarea");
  if (input instanceof HTMLElement) input.focus({ preventScroll: true });
  first.scrollIntoView({ block: "nearest" });
  return false;
}

/**
 * tell writes beside an input what is wrong with it, until it is changed.
 * @param {HTMLInputElement | HTMLTextAreaElement} input
 * @param {HTMLElement} place
 */
function tell(input, place) {
  const words = h("strong", { class: "fault", role: "alert", text: faultWords(input) });
  input.setAttribute("aria-invalid", "true");
  place.append(words);
  place.addEventListener("input", () => {
    input.removeAttribute("aria-invalid");
    words.remove();
  }, { once: true });
}

/** @param {HTMLInputElement | HTMLTextAreaElement} input */
function faultWords(input) {
  const { valueMissing, badInput, rangeUnderflow, rangeOverflow } = input.validity;
  if (valueMissing) return say(input.type === "radio" ? "valid.choose" : "valid.missing");
  if (badInput) return say("valid.number");
  const { min = "", max = "" } = input instanceof HTMLInputElement ? input : {};
  if (rangeUnderflow) return say("valid.least", { least: min });
  if (rangeOverflow) return say("valid.most", { most: max });
  return say("valid.form");
}
