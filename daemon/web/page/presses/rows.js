// The rows of the board, for the presses of this bench and of others: their order, and a press's
// light.
import { h, setText, show } from "../lib/dom.js";
import { drawLife, lifeBar } from "../parts/life.js";
import { meaningWords, sign } from "../lib/signs.js";
import { say } from "../lib/words.js";

/**
 * The fields of a press that the board shows, of this bench or another.
 * @typedef {{ id: string, meaning: string, cause?: string, flashing: boolean, reason: string }} ShownPress
 */

/**
 * The fields of a batch that the board shows.
 * @typedef {{ id: string, press?: string | null, zone: string, quality: string, ends_at?: API.SpanTime | null, next_mix_at?: string }} ShownBatch
 */

/**
 * A place of the board: a press, a batch, or both.
 * @template {ShownPress} P
 * @template {ShownBatch} B
 * @typedef {{ key: string, name: string, press?: P, batch?: B }} PlaceRow
 */

/**
 * boardRows returns the places of the board in their order: the presses as they are given, which is the order of
 * the configuration, and below them the batches on no press, the oldest first. What is urgent is told by lights and
 * words: a row that moved would bring another button under a finger.
 * @template {ShownPress} P
 * @template {ShownBatch} B
 * @param {P[]} presses
 * @param {B[]} batches
 * @returns {PlaceRow<P, B>[]}
 */
export function boardRows(presses, batches) {
  // The row of a batch names its press: it comes by the stream, and the row of a press does not.
  /** @type {Map<string, B>} */
  const on = new Map();
  for (const b of batches) if (b.press) on.set(b.press, b);
  /** @type {PlaceRow<P, B>[]} */
  const rows = presses.map((press) => ({ key: `press:${press.id}`, name: press.id, press, batch: on.get(press.id) }));
  const shown = new Set(rows.map((row) => row.batch));
  const others = batches.filter((b) => b.ends_at && !shown.has(b)).sort((a, b) => a.id.localeCompare(b.id, "en", { numeric: true }));
  return [...rows, ...others.map((batch) => ({ key: `batch:${batch.id}`, name: batch.press ?? say("place.zone", { zone: batch.zone }), batch }))];
}

// lightPart makes a press's light: shape, word and reason. Without contact nothing is known of it.
function lightPart() {
  const shapePlace = h("span", { class: "lamp-shape" });
  const shape = h("div", { class: "lamp board-lamp" }, shapePlace);
  const word = h("p", { class: "board-word" });
  const reason = h("p", { class: "board-reason" });
  let drawn = "";
  return {
    shape,
    word,
    reason,
    /**
     * @param {PlaceRow<ShownPress, ShownBatch>} row
     * @param {number} now
     * @param {boolean} contact
     */
    draw({ press, batch }, now, contact) {
      show(shape, Boolean(press));
      show(reason, Boolean(press));
      if (!press) return setText(word, batch?.press ? "" : say("board.not-on-press"));
      const meaning = contact ? press.meaning : "unknown";
      const flashes = contact && press.flashing;
      if (drawn !== meaning) shapePlace.replaceChildren(sign((drawn = meaning)));
      shape.dataset.flashing = String(flashes);
      shape.dataset.meaning = meaning;
      setText(word, meaningWords(meaning, contact ? press.cause : "", Date.parse(batch?.ends_at?.low ?? "") <= now));
      setText(reason, contact ? press.reason ?? "" : say("board.no-contact"));
      show(reason, reason.textContent !== "");
    },
  };
}

/**
 * placeRow makes a row of the board: light and name, the batch on its axis, the figures. Buttons are
 * beside the press and below the life.
 * @param {"h2" | "h3"} heading
 * @param {HTMLElement[]} besidePress
 * @param {HTMLElement[]} belowLife
 */
export function placeRow(heading, besidePress = [], belowLife = []) {
  const name = h(heading, { class: "board-name" });
  const light = lightPart();
  const batchLine = h("p", { class: "board-batch" });
  const state = h("p", { class: "batch-state" });
  const left = h("p", { class: "board-left" });
  const spread = h("p", { class: "board-band" });
  const next = h("p", { class: "board-next batch-next" });
  const bar = lifeBar();
  const element = h("li", { class: "board-row" },
    h("div", { class: "board-press" }, light.shape, h("div", { class: "board-words" }, name, light.word, light.reason), besidePress),
    h("div", { class: "board-life" }, batchLine, state, bar.element, belowLife),
    h("div", { class: "board-figures" }, left, spread, next));
  return {
    element, light,
    place(/** @type {PlaceRow<ShownPress, ShownBatch>} */ row) {
      setText(name, row.name);
      element.dataset.place = row.press ? "press" : "zone";
      element.dataset.quality = row.batch?.quality ?? "none";
    },
    /**
     * @param {string} batchWords
     * @param {string} stateWords
     */
    write(batchWords, stateWords) {
      setText(batchLine, batchWords);
      show(batchLine, batchWords !== "");
      setText(state, stateWords);
      show(state, stateWords !== "");
    },
    /**
     * life draws what is left of a batch; nothing for null. Only this bench begins its next mix;
     * coming says how far that is already.
     * @param {ShownBatch | null} batch
     * @param {number} now
     * @param {number} length
     * @param {boolean} plansNext
     * @param {string} coming
     */
    life(batch, now, length, plansNext, coming = "") {
      for (const part of [left, spread, bar.element]) show(part, batch !== null);
      if (batch) drawLife({ left, spread, next, bar }, batch, now, length, coming);
      if (!batch || !plansNext) show(next, false);
    },
  };
}
