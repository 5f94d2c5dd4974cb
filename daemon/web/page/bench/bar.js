// The bar of a pour: what is poured, the target, and what is accepted around it.
import { h, setData, setText, show } from "../lib/dom.js";
import { grams, number } from "../lib/format.js";
import { pourSign } from "../lib/signs.js";
import { say } from "../lib/words.js";
import { bestCure, cureWords, inside } from "./cures.js";

const beyondTarget = 1.25; // the bar goes on past the target, to show a pour that went too far
const beyondAccepted = 1.08;
const edge = 0.15; // of the accepted range: at its upper edge a pour must stop
const nearFrom = 0.85; // of the least mass that is accepted: from here on, pour slowly

const sameG = 0.05; // two masses that differ by less are shown as the same

/**
 * pourState draws a pour's verdict finer: near is a pour that must go slowly now.
 * @param {Pick<API.PouringView, "poured_g" | "low_g" | "high_g" | "verdict">} pour
 */
export function pourState({ poured_g: poured, low_g: low, high_g: high, verdict }) {
  if (verdict === "over" && poured - high < sameG) return "at";
  if (verdict === "over" || verdict === "too-much") return "over";
  if (verdict === "right") return "at";
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
 * pourWords writes it for a person. While the pour is too much and still, the words are those of its
 * cure.
 * @param {API.PouringView} pour
 * @param {number} decimals
 */
export function pourWords(pour, decimals) {
  const { target_g: target, low_g: low, high_g: high } = pour;
  const poured = Math.max(0, pour.poured_g); // an empty scale that has drifted below zero asks for no more than the target
  const fine = Math.max(1, decimals);
  const cure = bestCure(pour);
  switch (pourState(pour)) {
    case "over": {
      const over = grams(poured - target, fine);
      if (!cure) return { say: say("pour.over"), figure: say("pour.over-by", { mass: over }) };
      const words = cureWords(cure, pour);
      // What is taken out leads back to what is accepted, which begins at the target: its own mass is enough.
      return { say: cure.kind === "take-out" ? say("pour.cure-take-out", { act: words.act }) : say("pour.cure", { mass: over, act: words.act }), figure: words.comes };
    }
    case "at": {
      if (poured >= high - edge * (high - low)) return { say: say("pour.stop"), figure: accepted(low, high) };
      return { say: say("pour.right"), figure: poured < target - sameG ? say("pour.to-target", { mass: grams(target - poured, fine) }) : accepted(low, high) };
    }
    case "near":
      return { say: say("pour.slowly"), figure: say("pour.to-go", { mass: grams(target - poured, fine) }) };
  }
  return { say: say("pour.pour"), figure: say("pour.to-go", { mass: grams(target - poured, fine) }) };
}

/**
 * @param {number} low
 * @param {number} high
 */
const accepted = (low, high) => say("pour.accepted", { low: number(inside(low, Math.ceil), 1), high: grams(inside(high, Math.floor)) });

// pourBar makes the bar.
export function pourBar() {
  const fill = h("div", { class: "pour-fill" });
  const accepted = h("div", { class: "pour-accepted" });
  const target = h("div", { class: "pour-target" });
  const track = h("div", { class: "pour-track", role: "progressbar", "aria-label": say("mixing.poured"), "aria-valuemin": "0" }, fill, accepted, target);
  const label = h("span", { class: "pour-target-label" });
  const labels = h("div", { class: "pour-labels" }, h("span", { text: "0\u00a0g" }), label);
  const poured = h("strong", { class: "poured" });
  const icon = h("span", { class: "pour-icon" });
  const act = h("strong");
  const figure = h("span", { class: "pour-figure" });
  // The word is announced when it changes; the figure runs too fast for that.
  const words = h("p", { class: "pour-words" }, icon, h("span", {}, h("span", { "aria-live": "polite" }, act), figure));
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
      setData(element, "state", state);
      fill.style.width = `${place(pour.poured_g)}%`;
      accepted.style.left = `${place(pour.low_g)}%`;
      accepted.style.width = `${place(pour.high_g) - place(pour.low_g)}%`;
      target.style.left = label.style.left = `${place(pour.target_g)}%`;
      setText(label, say("mixing.target", { mass: grams(pour.target_g) }));
      track.setAttribute("aria-valuenow", Math.max(0, pour.poured_g).toFixed(2));
      track.setAttribute("aria-valuemax", length.toFixed(2));
      track.setAttribute("aria-valuetext", say("mixing.poured-of", { poured: grams(Math.max(0, pour.poured_g), decimals), target: grams(pour.target_g) }));
      setText(poured, grams(Math.max(0, pour.poured_g), decimals));
      const text = pourWords(pour, decimals);
      setText(act, text.say);
      setText(figure, text.figure);
      if (drawn !== state) icon.replaceChildren(pourSign((drawn = state)));
    },
  };
}
