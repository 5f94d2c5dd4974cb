// A mix that is done: its rest is counted down, and it waits for its press.
import { changeRow } from "../lib/api.js";
import { loadDialog } from "../parts/batch-dialogs.js";
import { button, h, refusalLine, setText, show } from "../lib/dom.js";
import { countdown, ratioWords, secondsUntil } from "../lib/format.js";
import { overrideDialog, relabelDialog } from "../parts/mix-dialogs.js";
import { cautionFor } from "./steps.js";

/**
 * awaitsPress reports whether a batch waits to be loaded, resting or not.
 * @param {API.BatchView} batch
 */
export function awaitsPress(batch) {
  return !batch.press && (batch.step === "rest" || batch.step === "load");
}

/**
 * readyCard shows one.
 * @param {Pick<Page.Tools, "store" | "attempt">} tools
 */
export function readyCard({ store, attempt }) {
  const title = h("p", { class: "mix-title" });
  const head = h("h2", { class: "mix-head" });
  const rest = h("p", { class: "poured", role: "timer" });
  const hint = h("p", { class: "mix-hint" });
  const care = h("p", { class: "care-now", text: cautionFor("load") });
  const warnings = h("ul", { class: "warnings" });
  const refusal = refusalLine();
  /** @type {API.BatchView} */
  let batch;
  const send = (/** @type {string} */ verb, /** @type {object} */ body) => changeRow(store, "batches", `batches/${batch.id}/${verb}`, body);
  const post = (/** @type {string} */ verb, /** @type {object} */ body) => attempt(refusal, () => send(verb, body));
  const load = button("", "big main", () => {
    const press = store.get("presses", batch.for_press);
    if (!press || press.batch) return loadDialog(batch, store);
    return post("load", { press: press.id });
  });
  const elsewhere = button("Onto another press…", "big", () => loadDialog(batch, store));
  const accept = button("Go on as it is…", "big", () => overrideDialog((reason) => send("confirm", { step: batch.step, override: reason })));
  const undo = button("Undo the last pour", "big", () => post("correct", { undo: true }));
  const relabel = button("That was something else…", "big", () => relabelDialog((part) => send("correct", { part })));
  const element = h("section", { class: "mix ready", "aria-label": "Mix waiting for its press" },
    title, h("div", { class: "head-line" }, head, care), rest, hint, warnings,
    h("div", { class: "actions" }, load, elsewhere), refusal, h("div", { class: "ways-out" }, accept, undo, relabel));
  return {
    element,
    update(/** @type {API.BatchView} */ row) {
      batch = row;
      setText(title, [`Mix ${row.id}`, row.ink, row.cup, ratioWords(row.ratio)].filter(Boolean).join(" · "));
      warnings.replaceChildren(...(row.warnings ?? []).map((w) => h("li", { text: w })));
      setText(load, row.for_press ? `It is on ${row.for_press}` : "Onto a press…");
      show(elsewhere, Boolean(row.for_press));
      setText(accept, row.step === "rest" ? "End the rest early…" : "Go on as it is…");
      show(accept, row.step === "rest" || (row.warnings ?? []).length > 0);
      const guided = Boolean(row.scale);
      show(undo, guided);
      show(relabel, guided);
    },
    tick(/** @type {number} */ now) {
      const left = batch.rest_until ? secondsUntil(Date.parse(batch.rest_until), now) : 0;
      const resting = batch.step === "rest";
      setText(head, resting ? "Let it rest" : batch.for_press ? `Put the cup on ${batch.for_press}` : "Put the cup on its press");
      show(rest, resting);
      setText(rest, countdown(left));
      setText(hint, resting ? "It may go onto the press meanwhile; its light stays red until the rest is over." : "");
      show(hint, resting);
    },
  };
}
