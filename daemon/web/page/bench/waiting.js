// The mixes that wait while another is weighed, or none is: a short row, in which one tap continues a
// mix. And the question whose cup is on the scale, where its weight does not tell.
import { changeRow } from "../lib/api.js";
import { loadDialog } from "../parts/load.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { countdown, grams, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { overrideDialog } from "../parts/mix-dialogs.js";
import { massOf } from "../parts/places.js";
import { cupFor, lifeNote, outlasts, pastSafe } from "../parts/safe.js";
import { term } from "../parts/terms.js";

/** @param {API.BatchView} batch */
const stirs = (batch) => batch.step === "stir-hardener" || batch.step === "stir-thinner";

/**
 * nextWord writes what a waiting mix waits for. One past its time is ready for nothing: somebody looks at
 * it first.
 * @param {API.BatchView} batch
 * @param {number} now
 */
export function nextWord(batch, now) {
  if (batch.state !== "mixing" && pastSafe(batch, now)) return say("waiting.look", { life: lifeNote(batch, now) });
  if (batch.step === "rest") {
    const left = batch.rest_until ? secondsUntil(Date.parse(batch.rest_until), now) : 0;
    return left > 0 ? say("waiting.rests", { left: countdown(left) }) : say("waiting.rested");
  }
  if (batch.step === "load") return batch.for_press ? say("waiting.ready-for", { press: batch.for_press }) : say("waiting.ready");
  if (stirs(batch)) return say("waiting.stirring");
  return batch.step === "cup" ? say("waiting.for-cup") : say("waiting.for", { step: term("step", batch.step ?? "") });
}

/**
 * waitingRow makes the row. A mix in it that is not set aside is the one on the scale, behind the
 * form for the next one; back brings it back.
 * @param {Page.Tools & { back: () => void }} tools
 */
export function waitingRow({ store, attempt, notify, back }) {
  const list = h("ul", { class: "waiting-list" });
  const refusal = refusalLine();
  const element = h("section", { class: "waiting", "aria-label": say("stage.waiting"), hidden: true }, h("h2", { text: say("waiting.title") }), list, refusal);
  return {
    element,
    /**
     * @param {API.BatchView[]} batches
     * @param {number} now
     */
    update(batches, now) {
      for (const part of keyed(list, batches, (b) => b.id, () => waitingCard({ store, attempt, notify, back, refusal }))) part.tick(now);
      show(element, batches.length > 0);
      element.dataset.count = String(batches.length);
      if (batches.length === 0) show(refusal, false);
    },
  };
}

/** @param {Page.Tools & { back: () => void, refusal: HTMLElement }} tools */
function waitingCard({ store, attempt, notify, back, refusal }) {
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
    overrideDialog((override) => send("take-up", { override }), { title: say("waiting.is-it", { batch: batch.id }), lead, reasons: cupReasons() });
  };
  const up = button("", "small", () => {
    if (batch.state !== "mixing") return loadDialog(batch, { store, attempt, notify });
    return batch.aside ? takeUp() : back();
  });
  const stirred = button(say("steps.stirred"), "small", () => post("confirm", { step: batch.step }));
  const element = h("li", { class: "waiting-card" }, h("p", { class: "waiting-words" }, name, state), h("div", { class: "waiting-actions" }, up, stirred));
  return {
    element,
    update(/** @type {API.BatchView} */ row) {
      batch = row;
      setText(name, row.id);
      const mixing = row.state === "mixing";
      setText(up, mixing ? say("waiting.carry-on") : say("use.load"));
      show(stirred, mixing && stirs(row));
      for (const b of [up, stirred]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
    tick(/** @type {number} */ now) {
      const old = batch.state === "mixing" ? undefined : cupFor(store, batch);
      const other = old && old.ink !== batch.ink && say("waiting.other-ink", { old: old.ink });
      const weighs = batch.state === "mixing" && batch.cup_weighs_g !== undefined && say("waiting.cup-weighs", { mass: grams(batch.cup_weighs_g, 0) });
      setText(state, [batch.ink, outlasts(old, batch, now) ? say("waiting.not-needed", { press: batch.for_press ?? "" }) : nextWord(batch, now), other, weighs].filter(Boolean).join(", "));
    },
  };
}

/**
 * cupWeighs returns what the cup of a mix should weigh, in g; undefined where that is not known. The
 * bench tells it of a cup that was set aside; the cup of the mix that holds the scale has what was taken.
 * @param {API.BatchView} batch
 */
function cupWeighs(batch) {
  if (batch.cup_weighs_g !== undefined) return batch.cup_weighs_g;
  return batch.cup_empty_g === undefined ? undefined : batch.cup_empty_g + massOf(batch);
}

const cupReasons = () => [say("waiting.stick"), say("waiting.spilled"), say("waiting.tared")];

/**
 * cupQuestion asks whose cup is on the scale.
 * @param {Pick<Page.Tools, "store" | "attempt">} tools
 */
export function cupQuestion({ store, attempt }) {
  const refusal = refusalLine();
  const choices = h("div", { class: "actions" });
  const element = h("section", { class: "mix which-cup", "aria-label": say("waiting.whose-short"), hidden: true },
    h("h2", { class: "mix-head", "aria-live": "assertive", text: say("waiting.whose") }),
    h("p", { class: "mix-hint", text: say("waiting.whose-hint") }), choices, refusal);
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
            const mass = batch && cupWeighs(batch);
            setText(weighs, mass === undefined ? "" : say("stage.cup-weighs", { mass: grams(mass, 0) }));
          },
        };
      });
      if (asked.length === 0) show(refusal, false);
    },
  };
}
