// Mending a pour: what is in the cup and not yet taken, and below it the pours that were taken, each
// with its weight, its time and an undo of its own.
import { pick } from "../lib/dialogs.js";
import { button, h, setText, show } from "../lib/dom.js";
import { clockTime, grams } from "../lib/format.js";
import { say } from "../lib/words.js";

/** @type {["ink", "hardener", "thinner"]} */
const parts = ["ink", "hardener", "thinner"];

/**
 * What a person says of a pour: a change by its verb and body.
 * @typedef {{ verb: "confirm" | "correct", body: object }} Said
 */

/**
 * notTaken returns what is in the cup, can be named, and is in no record yet; undefined when nothing
 * is. The weight of an empty cup is no pour.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 */
export function notTaken(batch, scale) {
  if (scale?.batch !== batch.id || batch.step === "cup") return undefined;
  return scale.not_taken;
}

/**
 * canMend tells whether the mix has a pour that can be mended: not once the thinner is stirred in.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 */
export const canMend = (batch, scale) => (batch.pours ?? []).some((p) => p.seq !== undefined) || notTaken(batch, scale) !== undefined;

/**
 * naming returns the change that names what is not taken yet. The part that it counts as anyway is
 * confirmed.
 * @param {API.BatchView} batch
 * @param {API.NotTaken} there
 * @param {string} part
 * @returns {Said}
 */
function naming(batch, there, part) {
  if (part === there.part) return { verb: "confirm", body: { step: batch.step, part } };
  return { verb: "correct", body: { not_taken: true, part } };
}

/**
 * wrongCanDialog asks which pour was something else. One tap answers.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 * @param {number} now
 * @param {(said: Said) => Promise<unknown>} send
 */
export function wrongCanDialog(batch, scale, now, send) {
  const there = notTaken(batch, scale);
  /** @type {{ legend: string, options: Page.Option<Said>[] }[]} */
  const groups = [];
  if (there) {
    groups.push({
      legend: say("wrong.not-taken", { mass: grams(there.g) }),
      options: parts.map((part) => ({ label: say(`wrong.part-${part}`), value: naming(batch, there, part) })),
    });
  }
  for (const pour of [...(batch.pours ?? [])].reverse()) {
    if (pour.seq === undefined) continue;
    groups.push({
      legend: say("wrong.taken", { mass: grams(pour.g), part: pour.part, time: clockTime(Date.parse(pour.at), now) }),
      options: [
        ...parts.filter((part) => part !== pour.part).map((part) => ({
          label: say("wrong.it-was", { part: say(`wrong.part-${part}`) }), value: /** @type {Said} */ ({ verb: "correct", body: { pour: pour.seq, part } }),
        })),
        { label: say("wrong.undo"), note: say("wrong.undo-note"), value: { verb: "correct", body: { pour: pour.seq, undo: true } } },
      ],
    });
  }
  pick({ title: say("wrong.title"), lead: there ? "" : say("wrong.lead"), groups, submit: async (said) => { await send(said); } });
}

/**
 * namePart asks what is in the cup and in no record, where the bench cannot tell: after an undo.
 * @param {(said: Said) => unknown} send
 */
export function namePart(send) {
  const words = h("p");
  /** @type {API.BatchView} */
  let batch;
  /** @type {API.NotTaken | undefined} */
  let there;
  const element = h("div", { class: "question", role: "group", "aria-label": say("wrong.name-title"), hidden: true }, words,
    parts.map((part) => button(say(`wrong.part-${part}`), "big", () => there && send({ verb: "correct", body: { not_taken: true, part } }))));
  return {
    element,
    asks: () => there !== undefined,
    /**
     * @param {API.BatchView} row
     * @param {API.ScaleView | undefined} scale
     */
    update(row, scale) {
      batch = row;
      const found = notTaken(batch, scale);
      there = found?.must_name ? found : undefined;
      show(element, there !== undefined);
      if (there) setText(words, say("wrong.name", { mass: grams(there.g) }));
    },
  };
}
