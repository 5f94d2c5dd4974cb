// The open batches on the time axis, that with the earliest end on top.
import { assumedLink, assumedMark } from "../parts/assumed.js";
import { byEarliestEnd, sharedSpan } from "../parts/axis.js";
import { h, keyed, setData, setText, setWords, show } from "../lib/dom.js";
import { say } from "../lib/words.js";
import { heldOrder } from "../parts/hold.js";
import { axisHead, axisKey, drawLife, lifeBar, nextIs } from "../parts/life.js";
import { firstEnd, qualityWords } from "../parts/terms.js";
import { batchActions, stillThere } from "../parts/use.js";

/**
 * batchesPanel shows the open batches on the time axis.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 */
export function batchesPanel(element, tools) {
  const { store } = tools;
  const scale = axisHead();
  const list = h("ol", { class: "batches" });
  const order = heldOrder(list);
  const none = h("p", { class: "quiet", text: say("batches.none") });
  const noteText = h("span");
  const note = h("p", { class: "assumptions" }, assumedLink(), " ", noteText);
  const key = axisKey();
  element.append(h("h2", { text: say("batches.title") }), none, h("div", { class: "axis" }, scale.element, list), key, note);
  return {
    update(/** @type {number} */ now) {
      const rows = order(byEarliestEnd(store.all("batches").filter((b) => b.ends_at)).map((b) => ({ key: b.id, b }))).map((row) => row.b);
      show(none, rows.length === 0 && store.loaded.has("batches"));
      show(scale.element, rows.length > 0);
      show(key, rows.length > 0);
      const length = sharedSpan(store, now);
      scale.draw(now, length);
      for (const part of keyed(list, rows, (row) => row.id, () => batchRow(tools))) part.draw(now, length);
      const inks = new Set(rows.map((b) => b.ink));
      const assumed = store.all("inks").filter((ink) => ink.assumed && inks.has(ink.id)).map((ink) => ink.id).sort();
      show(note, assumed.length > 0);
      setText(noteText, say("batches.not-learned", { inks: assumed.join(", ") }));
    },
  };
}

/** @param {Page.Tools} tools */
function batchRow(tools) {
  const { store } = tools;
  const id = h("strong", { class: "batch-id" });
  const where = h("span", { class: "batch-where" });
  const mark = h("span");
  const left = h("span", { class: "batch-left" });
  const spread = h("span", { class: "batch-band" });
  const state = h("p", { class: "batch-state" });
  const next = h("p", { class: "batch-next" });
  const bar = lifeBar();
  const actions = batchActions(tools);
  /** @type {API.BatchView} */
  let batch;
  const element = h("li", { class: "batch" },
    h("div", { class: "batch-text" }, h("p", { class: "batch-line" }, id, where, mark), h("p", { class: "batch-estimate" }, left, spread), state, next),
    h("div", { class: "batch-life" }, bar.element, actions.element, actions.refusal));
  return {
    element,
    update(/** @type {API.BatchView} */ row) {
      batch = row;
      setWords(id, row.id);
      setWords(where, [row.press ? say("more.on", { ink: row.ink, press: row.press }) : say("more.in", { ink: row.ink, zone: row.zone }), row.state === "resting" && say("board.rests")].filter(Boolean).join(", "));
      const note = assumedMark(store.get("inks", row.ink));
      if ((note === null) !== (mark.childElementCount === 0)) mark.replaceChildren(...(note ? [note] : []));
      const stop = store.all("lights").find((light) => light.batch === row.id && light.meaning === "do-not-print");
      const words = [
        row.ratio_reason && say("batch.out-of-ratio", { why: row.ratio_reason }), stillThere(row, store.clock.now()), stop && say("batches.stop", { why: stop.reason }),
        row.first_end === "adhesion" && firstEnd(row), qualityWords(row), ...(row.warnings ?? []), row.on_disk === false && say("board.not-on-disk"),
      ].filter(Boolean);
      setWords(state, words.join(" "));
      show(state, words.length > 0);
      state.dataset.stop = String(Boolean(stop));
      element.dataset.quality = row.quality;
      setData(element, "light", store.all("lights").find((light) => light.batch === row.id)?.meaning ?? "");
      actions.update(row);
    },
    draw: (/** @type {number} */ now, /** @type {number} */ length) => drawLife({ left, spread, next, bar }, batch, now, length, nextIs(store, batch)),
  };
}
