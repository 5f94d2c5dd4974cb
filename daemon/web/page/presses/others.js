// The presses of other benches, as this bench hears them: nothing is done to them from here.
import { sharedSpan } from "../parts/axis.js";
import { boardRows, placeRow } from "./rows.js";
import { h, keyed, setText, show } from "../lib/dom.js";
import { age, secondsUntil } from "../lib/format.js";
import { axisHead } from "../parts/life.js";
import { meaningWords } from "../lib/signs.js";
import { say } from "../lib/words.js";
import { qualityWords } from "../parts/terms.js";

/**
 * othersBatches returns the batches of all other benches.
 * @param {import("../lib/store.js").Store} store
 */
export function othersBatches(store) {
  return store.all("neighbours").flatMap((bench) => bench.batches ?? []);
}

/**
 * @param {string} at
 * @param {number} now
 */
const ago = (at, now) => age(-secondsUntil(Date.parse(at), now));

/**
 * contactWords writes the contact with a bench; nothing where it is online.
 * @param {Pick<API.Bench, "contact" | "heard_at">} bench
 * @param {number} now
 */
export function contactWords({ contact, heard_at: heard }, now) {
  const last = heard ? say("board.last-heard", { age: ago(heard, now) }) : say("board.never-heard");
  /** @type {Record<string, string>} */
  const words = {
    online: "", waiting: say("board.waiting"), offline: say("board.offline", { last }),
    silent: say("board.silent", { last }), "no-broker": say("board.no-broker", { last }),
  };
  return words[contact] ?? contact;
}

/**
 * pressWords writes why a press shows its meaning; for an old one, what it was and when.
 * @param {API.Press} press
 * @param {number} now
 */
export function pressWords(press, now) {
  if (!press.was) return press.reason;
  const was = { reason: press.reason, meaning: meaningWords(press.was).toLowerCase() };
  return press.as_of ? say("board.was", { ...was, age: ago(press.as_of, now) }) : say("board.was-once", was);
}

/**
 * othersPanel shows them.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function othersPanel(element, { store }) {
  const list = h("div", { class: "others" });
  element.append(list);
  return {
    /**
     * @param {number} now
     * @param {boolean} contact
     */
    update(now, contact) {
      const benches = store.all("neighbours").sort((a, b) => a.bench.localeCompare(b.bench));
      show(element, benches.length > 0);
      const length = sharedSpan(store, now, othersBatches(store));
      for (const part of keyed(list, benches, (bench) => bench.bench, benchPart)) part.draw(now, length, contact);
    },
  };
}

function benchPart() {
  const name = h("h2", { class: "board-bench" });
  const heard = h("p", { class: "bench-contact" });
  const none = h("p", { class: "quiet" });
  const scale = axisHead();
  const list = h("ol", { class: "board" });
  const axis = h("div", { class: "board-axis" }, scale.element, list);
  const element = h("section", { class: "other-bench" }, h("div", { class: "bench-head" }, name, heard), none, axis);
  /** @type {API.Bench} */
  let row;
  return {
    element,
    update(/** @type {API.Bench} */ next) {
      row = next;
      setText(name, row.bench);
      element.setAttribute("aria-label", row.bench);
      element.dataset.contact = row.contact;
    },
    /**
     * @param {number} now
     * @param {number} length
     * @param {boolean} contact
     */
    draw(now, length, contact) {
      setText(heard, contact ? contactWords(row, now) : "");
      const rows = boardRows(row.presses ?? [], row.batches ?? []);
      for (const part of keyed(list, rows, (r) => r.key, otherRow)) part.draw(now, length, contact);
      setText(none, row.contact === "online" ? say("board.no-presses") : say("board.presses-unknown"));
      show(none, rows.length === 0);
      show(axis, rows.length > 0);
      scale.draw(now, length);
    },
  };
}

/** @typedef {import("./rows.js").PlaceRow<API.Press, API.Batch>} OtherRow */

function otherRow() {
  const part = placeRow("h3");
  /** @type {OtherRow} */
  let row;
  return {
    element: part.element,
    update(/** @type {OtherRow} */ given) {
      row = given;
      part.place(row);
    },
    /**
     * @param {number} now
     * @param {number} length
     * @param {boolean} contact
     */
    draw(now, length, contact) {
      const { press, batch } = row;
      part.light.draw({ ...row, press: press && { ...press, reason: pressWords(press, now) } }, now, contact);
      part.life(batch?.ends_at && contact ? batch : null, now, length, false);
      const words = batch ? [`${batch.id} · ${batch.ink}`, batch.state === "resting" && say("board.rests"), batch.state === "mixing" && say("board.mixing")] : [];
      part.write(words.filter(Boolean).join(", "), contact && batch ? batchWords(batch, now) : "");
    },
  };
}

/**
 * batchWords writes what is wrong with a batch's figures; nothing where they are good.
 * @param {API.Batch} batch
 * @param {number} now
 */
function batchWords(batch, now) {
  if (batch.as_of) return say("board.left-unknown", { age: ago(batch.as_of, now) });
  return qualityWords(batch);
}
