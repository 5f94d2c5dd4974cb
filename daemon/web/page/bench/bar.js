// The bar of a pour: what is poured, the target, and what is accepted around it.
import { h, setText, show } from "../lib/dom.js";
import { grams, number } from "../lib/format.js";
import { pourSign } from "../lib/signs.js";

const beyondTarget = 1.25; // the bar goes on past the target, to show a pour that went too far
const beyondAccepted = 1.08;
const nearFrom = 0.85; // of the least mass that is accepted: from here on, pour slowly

/**
 * pourState compares a pour with what is accepted.
 * @param {Pick<API.PouringView, "poured_g" | "low_g" | "high_g">} pour
 */
export function pourState({ poured_g: poured, low_g: low, high_g: high }) {
  if (poured > high) return "over";
  if (poured >= low) return "at";
  return poured >= nearFrom * low ? "near" : "below";
}

/**
 * barLength returns the grams that the whole bar represents.
 * @param {Pick<API.PouringView, "target_g" | "high_g">} pour
 */
export function barLength({ target_g: target, high_g: high }) {
  return Math.max(target * beyondTarget, high * beyondAccepted);
}

/**
 * inside rounds an accepted bound to a tenth of a gram, towards the accepted range.
 * @param {number} bound
 * @param {(figure: number) => number} round
 */
const inside = (bound, round) => round(Math.round(bound * 1e4) / 1e3) / 10;

/**
 * pourWords writes it for a person.
 * @param {API.PouringView} pour
 * @param {number} decimals
 */
export function pourWords(pour, decimals) {
  const { poured_g: poured, target_g: target, low_g: low, high_g: high } = pour;
  switch (pourState(pour)) {
    case "over":
      return { say: "Stop. Too much", figure: `${grams(poured - target, Math.max(1, decimals))} over the target` };
    case "at":
      return { say: "Stop. It is right", figure: `${number(inside(low, Math.ceil), 1)} to ${grams(inside(high, Math.floor))} is accepted` };
    case "near":
      return { say: "Slowly now", figure: `${grams(target - poured, Math.max(1, decimals))} to go` };
  }
  return { say: "Pour", figure: `${grams(target - poured, Math.max(1, decimals))} to go` };
}

// pourBar makes the bar.
export function pourBar() {
  const fill = h("div", { class: "pour-fill" });
  const accepted = h("div", { class: "pour-accepted" });
  const target = h("div", { class: "pour-target" });
  const track = h("div", { class: "pour-track", role: "progressbar", "aria-label": "Poured", "aria-valuemin": "0" }, fill, accepted, target);
  const label = h("span", { class: "pour-target-label" });
  const labels = h("div", { class: "pour-labels" }, h("span", { text: "0\u00a0g" }), label);
  const poured = h("strong", { class: "poured" });
  const icon = h("span", { class: "pour-icon" });
  const say = h("strong");
  const figure = h("span", { class: "pour-figure" });
  // The word is announced when it changes; the figure runs too fast for that.
  const words = h("p", { class: "pour-words" }, icon, h("span", {}, h("span", { "aria-live": "polite" }, say), figure));
  const element = h("div", { class: "pour" }, h("div", { class: "pour-head" }, poured, words), track, labels);
  let drawn = "";
  return {
    element,
    /**
     * @param {API.PouringView | undefined} pour
     * @param {number} decimals
     */
    update(pour, decimals) {
      const drawable = pour !== undefined && pour.target_g > 0;
      show(element, drawable);
      if (!drawable) return;
      const length = barLength(pour);
      const place = (/** @type {number} */ g) => Math.min(1, Math.max(0, g / length)) * 100;
      const state = pourState(pour);
      element.dataset.state = state;
      fill.style.width = `${place(pour.poured_g)}%`;
      accepted.style.left = `${place(pour.low_g)}%`;
      accepted.style.width = `${place(pour.high_g) - place(pour.low_g)}%`;
      target.style.left = label.style.left = `${place(pour.target_g)}%`;
      setText(label, `target ${grams(pour.target_g)}`);
      track.setAttribute("aria-valuenow", pour.poured_g.toFixed(2));
      track.setAttribute("aria-valuemax", length.toFixed(2));
      track.setAttribute("aria-valuetext", `${grams(pour.poured_g, decimals)} of ${grams(pour.target_g)}`);
      setText(poured, grams(pour.poured_g, decimals));
      const text = pourWords(pour, decimals);
      setText(say, text.say);
      setText(figure, text.figure);
      if (drawn !== state) icon.replaceChildren(pourSign((drawn = state)));
    },
  };
}
