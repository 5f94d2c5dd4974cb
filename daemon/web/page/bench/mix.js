// The guided mix: one thing to do, the bar, and what can be done when something went wrong.
import { outOfContact } from "../lib/contact.js";
import { h, keyed, phrase, setData, setText, setWords, show } from "../lib/dom.js";
import { grams, ratioWords } from "../lib/format.js";
import { say } from "../lib/words.js";
import { mixActions } from "./actions.js";
import { pourBar, pourState } from "./bar.js";
import { correctionsPart } from "./corrections-part.js";
import { mixHead } from "./head.js";
import { bestCure, curesPart } from "./cures.js";
import { sheetLinks } from "../parts/care.js";
import { ahead, cautionFor, instruction, mends, stirWords } from "./steps.js";

/**
 * mixPanel shows a mix.
 * @param {Pick<Page.Tools, "store" | "attempt"> & { tone: (name: string) => void }} tools
 */
export function mixPanel({ store, attempt, tone }) {
  const top = mixHead();
  const head = h("h2", { class: "mix-head", "aria-live": "polite" });
  const hint = h("p", { class: "mix-hint" });
  const stir = h("p", { class: "stir-time", role: "timer" });
  const care = h("p", { class: "care-now" });
  const sheets = sheetLinks();
  const bar = pourBar();
  const instead = h("p", { class: "pour-instead", role: "status" }); // in the place of a bar that cannot be believed
  const place = h("div", { class: "pour-place" }, bar.element, instead);
  const cures = curesPart();
  const corrections = correctionsPart();
  const warnings = h("ul", { class: "warnings" });
  const ratio = h("p", { class: "mix-ratio" });
  const next = h("p", { class: "next" });
  const tones = pourTones(tone);
  /** @type {API.BatchView} */
  let batch;
  const actions = mixActions({ store, attempt }, () => batch, corrections.chosenPart);
  const element = h("section", { class: "mix stage", "aria-label": say("stage.title") },
    top.element, actions.from.stirFirst, h("div", { class: "head-line" }, head, care), hint, stir, place,
    h("div", { class: "mix-notes" }, cures.element, corrections.element, warnings, ratio, actions.from.element, actions.notes, sheets.element),
    h("div", { class: "actions" }, actions.confirm, next, h("div", { class: "ways-out" }, actions.ways)));
  return {
    element,
    // byKey confirms the step as Enter on a keypad asks for it.
    byKey: () => actions.byKey(),
    update(/** @type {API.BatchView} */ row) {
      batch = row;
    },
    /**
     * weigh draws the bar and nothing else.
     * @param {API.ScaleView | undefined} scale
     * @param {number} decimals
     */
    weigh(scale, decimals) {
      const { pour, why } = pourOf(batch, scale);
      actions.hears(scale);
      // A bar keeps its place when it cannot be believed, so that nothing moves.
      show(place, pours(batch));
      setText(instead, why);
      setData(place, "bar", String(why === ""));
      if (why === "") bar.update(pour, decimals);
    },
    /**
     * @param {API.ScaleView | undefined} scale
     * @param {number} decimals
     * @param {number} now
     */
    draw(scale, decimals, now) {
      this.weigh(scale, decimals);
      const ink = store.get("inks", batch.ink);
      const { pour, why } = pourOf(batch, scale);
      const words = instruction(batch, ink, pour);
      top.draw(batch, ink, now, mends(batch, pour));
      setWords(head, words.head);
      setText(hint, words.hint);
      show(hint, words.hint !== "");
      setText(stir, stirWords(batch, ink, now));
      show(stir, stir.textContent !== "");
      setText(care, cautionFor(pour?.part ?? batch.step));
      show(care, care.textContent !== "");
      sheets.update(ink, (pour?.part ?? batch.step)?.replace("stir-", ""));
      cures.update(why === "" ? pour : undefined);
      tones(batch, why === "" ? pour : undefined);
      corrections.update(batch, why === "" ? pour : undefined);
      // A warning about the ratio says it better.
      setText(ratio, batch.warnings?.length ? "" : ratioWords(batch.ratio));
      show(ratio, ratio.textContent !== "");
      keyed(warnings, (batch.warnings ?? []).filter((w) => w !== batch.no_room), (w) => w, (w) => ({ element: phrase("li", {}, w), update() {} }));
      actions.keyPressed(scale?.batch === batch.id ? scale.key_refused : undefined);
      actions.update(words.done);
      // A pour that is too much is taken as it is, and corrected then.
      const wrong = why === "" && pour !== undefined && pour.verdict === "over" && pourState(pour) === "over";
      const coming = ahead(batch, ink);
      setWords(next, wrong ? (bestCure(pour)?.kind === "larger-cup" ? say("stage.next-larger-cup") : say("stage.next-mends")) : coming && say("stage.next", { what: coming }));
    },
  };
}

/** @param {API.BatchView} batch */
const pours = (batch) => !batch.no_room && ["ink", "hardener", "thinner"].includes(batch.step ?? "");

/**
 * pourOf returns the pour of a mix that its scale shows, if it is heard, and why no bar can be shown.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 */
function pourOf(batch, scale) {
  const heard = scale?.quality === "good" && !outOfContact();
  const pour = heard && scale.batch === batch.id ? scale.pouring : undefined;
  return { pour, why: pours(batch) ? noBar(scale, heard, pour) : "" };
}

/**
 * noBar says why no bar can be shown, and what to do; an empty text when one can.
 * @param {API.ScaleView | undefined} scale
 * @param {boolean} heard
 * @param {API.PouringView | undefined} pour
 */
function noBar(scale, heard, pour) {
  if (outOfContact()) return say("stage.no-contact-bar");
  if (!heard) return say("stage.no-weight");
  const lifted = pour && scale && (scale.weight_g ?? 0) <= 2 * scale.division_g && pour.poured_g < -5 * scale.division_g;
  return !pour || lifted ? cupBackWords(scale) : "";
}

/**
 * cupBackWords asks for the cup that was lifted. While the scale shows something else, that is another cup, or the
 * scale was tared and only a person can tell.
 * @param {API.ScaleView | undefined} scale
 */
function cupBackWords(scale) {
  if (scale?.cup_back_g === undefined) return say("stage.cup-back");
  const mass = grams(scale.cup_back_g);
  return (scale.weight_g ?? 0) > 2 * scale.division_g ? say("stage.other-cup", { mass }) : say("stage.cup-back-to", { mass });
}

/**
 * pourTones sounds a tone when a pour comes near its target, is right, or is too much.
 * @param {(name: string) => void} tone
 */
function pourTones(tone) {
  let before = "";
  /**
   * @param {API.BatchView} batch
   * @param {API.PouringView | undefined} pour
   */
  return (batch, pour) => {
    const name = pour ? { below: "", near: "near", at: "right", over: "over" }[pourState(pour)] : "";
    const is = `${batch.id} ${batch.step} ${name}`;
    if (name && is !== before) tone(name);
    before = is;
  };
}
