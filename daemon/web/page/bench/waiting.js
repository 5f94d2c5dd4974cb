// The mixes that wait while another is weighed, or none is: a short row, in which one tap continues a
// mix. And the question whose cup is on the scale, where its weight does not tell.
import { changeRow } from "../lib/api.js";
import { loadDialog } from "../parts/batch-dialogs.js";
import { button, h, keyed, refusalLine, setText, show } from "../lib/dom.js";
import { countdown, grams, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { overrideDialog } from "../parts/mix-dialogs.js";

/** @param {API.BatchView} batch */
const stirs = (batch) => batch.step === "stir-hardener" || batch.step === "stir-thinner";

/**
 * nextWord writes what a waiting mix waits for.
 * @param {API.BatchView} batch
 * @param {number} now
 */
export function nextWord(batch, now) {
  if (batch.step === "rest") {
    const left = batch.rest_until ? secondsUntil(Date.parse(batch.rest_until), now) : 0;
    return left > 0 ? `rests, ${countdown(left)}` : "has rested";
  }
  if (batch.step === "load") return batch.for_press ? `ready for ${batch.for_press}` : "ready for a press";
  if (stirs(batch)) return "being stirred";
  return `waits for ${batch.step === "cup" ? "its cup" : batch.step}`;
}

/**
 * waitingRow makes the row. A mix in it that is not set aside is the one on the scale, behind the
 * form for the next one; back brings it back.
 * @param {Pick<Page.Tools, "store" | "attempt"> & { back: () => void }} tools
 */
export function waitingRow({ store, attempt, back }) {
  const list = h("ul", { class: "waiting-list" });
  const refusal = refusalLine();
  const element = h("section", { class: "waiting", "aria-label": "Mixes that wait", hidden: true }, h("h2", { text: "Waiting" }), list, refusal);
  return {
    element,
    /**
     * @param {API.BatchView[]} batches
     * @param {number} now
     */
    update(batches, now) {
      for (const part of keyed(list, batches, (b) => b.id, () => waitingCard({ store, attempt, back, refusal }))) part.tick(now);
      show(element, batches.length > 0);
      element.dataset.count = String(batches.length);
      if (batches.length === 0) show(refusal, false);
    },
  };
}

/** @param {Pick<Page.Tools, "store" | "attempt"> & { back: () => void, refusal: HTMLElement }} tools */
function waitingCard({ store, attempt, back, refusal }) {
  const name = h("strong");
  const state = h("span");
  /** @type {API.BatchView} */
  let batch;
  const send = (/** @type {string} */ verb, /** @type {object} */ body = {}) => changeRow(store, "batches", `batches/${batch.id}/${verb}`, body);
  const post = (/** @type {string} */ verb, /** @type {object} */ body = {}) => attempt(refusal, () => send(verb, body));
  // A cup of another weight is taken up with a reason only.
  const takeUp = async () => {
    await post("take-up");
    if (refusal.hidden || refusal.dataset.code !== "other-weight") return;
    const lead = refusal.textContent;
    show(refusal, false);
    overrideDialog((override) => send("take-up", { override }), { title: `Is it the cup of ${batch.id}?`, lead, reasons: cupReasons });
  };
  const up = button("Take it up", "small", () => {
    if (batch.state !== "mixing") return loadDialog(batch, store);
    return batch.aside ? takeUp() : back();
  });
  const stirred = button("It is stirred in", "small", () => post("confirm", { step: batch.step }));
  const element = h("li", { class: "waiting-card" }, h("p", { class: "waiting-words" }, name, state), h("div", { class: "waiting-actions" }, up, stirred));
  return {
    element,
    update(/** @type {API.BatchView} */ row) {
      batch = row;
      setText(name, row.id);
      const mixing = row.state === "mixing";
      setText(up, !mixing ? "Load…" : row.aside ? "Take it up" : "Back to it");
      show(stirred, mixing && stirs(row));
      for (const b of [up, stirred]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
    tick(/** @type {number} */ now) {
      const weighs = batch.cup_weighs_g === undefined ? "" : `, cup about ${grams(batch.cup_weighs_g, 0)}`;
      setText(state, `${batch.ink}, ${nextWord(batch, now)}${batch.state === "mixing" ? weighs : ""}`);
    },
  };
}

const cupReasons = ["A stirring stick stands in it", "Some of it was spilled", "The scale was tared or zeroed"];

/**
 * cupQuestion asks whose cup is on the scale.
 * @param {Pick<Page.Tools, "store" | "attempt">} tools
 */
export function cupQuestion({ store, attempt }) {
  const refusal = refusalLine();
  const choices = h("div", { class: "actions" });
  const element = h("section", { class: "mix which-cup", "aria-label": "Whose cup is it?", hidden: true },
    h("h2", { class: "mix-head", "aria-live": "assertive", text: "Whose cup is on the scale?" }),
    h("p", { class: "mix-hint", text: "Its weight does not tell. Nothing is confirmed until you say; if it is none of these, lift it off." }), choices, refusal);
  return {
    element,
    update(/** @type {API.ScaleView | undefined} */ scale) {
      const asked = scale?.which_cup ?? [];
      show(element, asked.length > 0);
      keyed(choices, asked.map((id) => ({ id, batch: store.get("batches", id) })), (row) => row.id, ({ id }) => {
        const b = button("", "big main option", () => attempt(refusal, () => changeRow(store, "batches", `batches/${id}/take-up`)));
        const [name, weighs] = [h("span"), h("small")];
        b.append(name, " ", weighs);
        return {
          element: b,
          update({ batch }) {
            setText(name, batch ? `${id}, ${batch.ink}` : id);
            setText(weighs, batch?.cup_weighs_g === undefined ? "" : say("stage.cup-weighs", { mass: grams(batch.cup_weighs_g, 0) }));
          },
        };
      });
      if (asked.length === 0) show(refusal, false);
    },
  };
}
