// The buttons of an open batch, on the bench's page and on the press board.
import { changeRow } from "../lib/api.js";
import { closeDialog } from "./batch-dialogs.js";
import { button, h, show } from "../lib/dom.js";
import { lookedGood, overridden } from "./good.js";
import { loadDialog } from "./load.js";
import { refusalLine } from "../lib/refusal.js";
import { say } from "../lib/words.js";
import { overrideDialog } from "./mix-dialogs.js";
import { moreDialog, moveDialog } from "./use-dialogs.js";

/**
 * stopped tells whether the light of the batch's press says not to print.
 * @param {import("../lib/store.js").Store} store
 * @param {API.BatchView} batch
 */
function stopped(store, batch) {
  return store.all("lights").some((l) => l.press === batch.press && l.meaning === "do-not-print");
}

/**
 * stillThere returns a question about a batch that is open although its latest end has passed; an
 * empty text for any other.
 * @param {API.BatchView | undefined} batch
 * @param {number} now
 */
export function stillThere(batch, now) {
  if (!batch?.ends_at || !(Date.parse(batch.ends_at.high) <= now)) return "";
  return say("use.still-there");
}

/**
 * batchActions makes the buttons of a batch, and the place where a refusal is shown.
 * @param {Page.Tools} tools
 */
export function batchActions(tools) {
  const { store, attempt, notify } = tools;
  const refusal = refusalLine();
  /** @type {API.BatchView} */
  let batch;
  const send = async (/** @type {string} */ verb) => {
    const { onDisk } = await changeRow(store, "batches", `batches/${batch.id}/${verb}`);
    if (!onDisk) notify(say("use.not-on-disk", { batch: batch.id }));
  };
  const good = button(say("use.good"), "small", () => attempt(refusal, () => lookedGood(batch, tools, () => send("good"))));
  const load = button(say("use.load"), "small", () => loadDialog(batch, tools));
  const move = button(say("use.move"), "small", () => moveDialog(batch, tools));
  const unload = button(say("use.unload"), "small", () => attempt(refusal, () => send("unload")));
  const accept = button(say("use.accept"), "small", () => overrideDialog((reason) => changeRow(store, "batches", `batches/${batch.id}/confirm`, { step: "load", override: reason })));
  const close = button(say("use.close"), "small", () => closeDialog(batch, tools));
  const more = button(say("use.more"), "small", () => moreDialog(batch, tools));
  const all = [good, load, unload, accept, move, close, more];
  const safest = [unload, load, good, accept, move, close, more]; // where the light says not to print
  const ending = [unload, close, load, accept, move, good, more]; // where a look would override that it has gone off
  let order = all;
  const element = h("div", { class: "batch-actions" }, all);
  return {
    element,
    refusal,
    update(/** @type {API.BatchView | undefined} */ row) {
      show(element, Boolean(row));
      if (!row) return show(refusal, false);
      batch = row;
      for (const b of all) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
      const mixing = row.state === "mixing";
      for (const b of [good, move, close, more]) show(b, !mixing);
      show(load, !mixing && !row.press);
      show(unload, Boolean(row.press));
      const wanted = overridden(store, row, store.clock.now()) ? ending : row.press && stopped(store, row) ? safest : all;
      if (wanted !== order) element.append(...(order = wanted));
      show(accept, row.state === "open" && (row.warnings ?? []).length > 0 && (!row.press || stopped(store, row)));
    },
  };
}
