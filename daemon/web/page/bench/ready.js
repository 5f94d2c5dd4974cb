// A mix that is done: its rest is counted down, and it waits for its press.
import { changeRow } from "../lib/api.js";
import { closeDialog } from "../parts/batch-dialogs.js";
import { loadDialog, loadOnto } from "../parts/load.js";
import { lookedGood, overridden } from "../parts/good.js";
import { button, h, phrase, setText, setWords, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { clockTime, countdown, ratioWords, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { overrideDialog } from "../parts/mix-dialogs.js";
import { cupFor, outlasts, pastSafe } from "../parts/safe.js";
import { moveDialog } from "../parts/use-dialogs.js";
import { mixHead } from "./head.js";
import { cautionFor } from "./steps.js";

/**
 * awaitsPress reports whether a batch waits to be loaded, resting or not.
 * @param {API.BatchView} batch
 */
export function awaitsPress(batch) {
  return !batch.press && (batch.step === "rest" || batch.step === "load");
}

/**
 * ownWords says until when the mix itself is safe; empty where it is not known.
 * @param {API.BatchView} batch
 * @param {number} now
 */
function ownWords(batch, now) {
  if (!batch.ends_at) return "";
  const words = { batch: batch.id, safe: clockTime(Date.parse(batch.ends_at.low), now) };
  return pastSafe(batch, now) ? say("ready.was-safe", words) : say("ready.safe", words);
}

/**
 * pressWords says what a press that a mix is ready for holds now, and until when that is good: nobody is
 * to change a cup that still prints because a mix is ready.
 * @param {API.BatchView} batch
 * @param {API.BatchView} old that the press holds
 * @param {number} now
 */
export function pressWords(batch, old, now) {
  const words = { press: old.press ?? "", old: old.id, ink: old.ink };
  const low = old.ends_at ? Date.parse(old.ends_at.low) : NaN;
  const holds = low > now ? say("ready.holds-until", { ...words, safe: clockTime(low, now) }) : say("ready.holds", words);
  const other = batch.ink !== old.ink && say("ready.other-ink", { ink: batch.ink, old: old.ink });
  return [other, holds, say("ready.asked", { old: old.id })].filter(Boolean).join(" ");
}

/**
 * readyCard shows one.
 * @param {Page.Tools} tools
 */
export function readyCard(tools) {
  const { store, attempt } = tools;
  const top = mixHead();
  const head = h("h2", { class: "mix-head" });
  const rest = h("p", { class: "poured", role: "timer" });
  const hint = h("p", { class: "mix-hint" });
  const care = h("p", { class: "care-now", text: cautionFor("load") });
  const warnings = h("ul", { class: "warnings" });
  const ratio = h("p", { class: "mix-ratio" });
  const refusal = refusalLine();
  const keep = button(say("ready.keep"), "big main", () => moveDialog(batch, tools));
  /** @type {API.BatchView} */
  let batch;
  const send = (/** @type {string} */ verb, /** @type {object} */ body) => changeRow(store, "batches", `batches/${batch.id}/${verb}`, body);
  const load = button("", "big main", () => {
    const press = store.get("presses", batch.for_press);
    if (!press) return loadDialog(batch, tools);
    return attempt(refusal, () => loadOnto(batch, press.id, store));
  });
  const elsewhere = button(say("ready.elsewhere"), "big", () => loadDialog(batch, tools));
  const good = button(say("use.good"), "big", () => attempt(refusal, () => lookedGood(batch, tools, async () => void await send("good", {}))));
  const close = button(say("use.close"), "big", () => closeDialog(batch, tools));
  const accept = button("", "big", () => overrideDialog((reason) => send("confirm", { step: batch.step, override: reason })));
  const element = h("section", { class: "mix ready", "aria-label": say("ready.title") },
    top.element, h("div", { class: "head-line" }, head, care), warnings, rest, hint, ratio,
    h("div", { class: "actions" }, keep, close, load, elsewhere, good), refusal, h("div", { class: "ways-out" }, accept));
  return {
    element,
    update(/** @type {API.BatchView} */ row) {
      batch = row;
      // A warning about the ratio says it better.
      setText(ratio, row.warnings?.length ? "" : ratioWords(row.ratio));
      show(ratio, ratio.textContent !== "");
      show(warnings, (row.warnings ?? []).length > 0);
      warnings.replaceChildren(...(row.warnings ?? []).map((w) => phrase("li", {}, w)), ...(row.ratio_reason ? [phrase("li", {}, say("batch.out-of-ratio", { why: row.ratio_reason }))] : []));
      setWords(load, row.for_press ? say("ready.on", { press: row.for_press }) : say("ready.onto"));
      setText(accept, row.step === "rest" ? say("ready.end-rest") : say("use.accept"));
      show(accept, row.step === "rest" || (row.warnings ?? []).length > 0);
    },
    tick(/** @type {number} */ now) {
      top.draw(batch, store.get("inks", batch.ink), now, false);
      const left = batch.rest_until ? secondsUntil(Date.parse(batch.rest_until), now) : 0;
      const resting = batch.step === "rest";
      const old = cupFor(store, batch);
      const where = { press: batch.for_press ?? "" };
      const past = pastSafe(batch, now);
      // A cup that is safe for longer than the mix stays on its press.
      const stays = !past && outlasts(old, batch, now);
      show(keep, stays);
      load.classList.toggle("main", !stays);
      show(load, !past);
      show(elsewhere, !past && Boolean(batch.for_press));
      show(close, past || stays);
      show(good, past);
      const dead = Boolean(overridden(store, batch, now));
      close.classList.toggle("main", dead);
      good.classList.toggle("main", !dead);
      setWords(head, past ? say("ready.look") : resting ? say("ready.rest") : !batch.for_press ? say("ready.put") : stays ? say("ready.not-needed", where) : old ? say("ready.ready-for", where) : say("ready.put-on", where));
      show(rest, resting);
      setText(rest, countdown(left));
      setWords(hint, [ownWords(batch, now), !past && old && pressWords(batch, old, now), stays && say("ready.stays", { old: old?.id ?? "" }), !past && resting && say("ready.rest-hint")].filter(Boolean).join(" "));
      show(hint, hint.textContent !== "");
    },
  };
}
