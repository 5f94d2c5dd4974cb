// Pouring a mix into another cup while it is made.
import { ask, chips, figure, massField, textOf } from "../lib/dialogs.js";
import { phrase } from "../lib/dom.js";
import { grams } from "../lib/format.js";
import { say } from "../lib/words.js";

/**
 * canPourOver tells whether there is something in the cup that another one may take.
 * @param {API.BatchView} batch
 */
export const canPourOver = (batch) => (batch.other_cups ?? []).length > 0;

/**
 * largerCups returns the cups that take more than the one that the mix is in, or is being poured into; the smallest first.
 * @param {API.BatchView} batch
 */
export function largerCups(batch) {
  const cups = batch.other_cups ?? [];
  const now = batch.pour_over?.cup ?? batch.cup;
  const own = cups.find((c) => c.cup === now)?.takes_g ?? 0;
  return cups.filter((c) => c.cup !== now && (c.takes_g ?? Infinity) > own).sort((x, y) => (x.takes_g ?? Infinity) - (y.takes_g ?? Infinity));
}

/**
 * pourOverDialog asks for the new cup. Of those that are larger the smallest is chosen, or the one that a cure names.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 * @param {(body: { cup: string, empty_g?: number }) => Promise<unknown>} send
 */
export function pourOverDialog(batch, scale, send) {
  const cups = batch.other_cups ?? [];
  const cure = scale?.batch === batch.id ? (scale.pouring?.cures ?? []).find((c) => c.kind === "larger-cup") : undefined;
  const loose = batch.pour_over?.not_taken_g ?? (scale?.batch === batch.id ? scale.not_taken?.g : undefined);
  const lead = batch.pour_over ? undefined : say("over.lead");
  ask({
    title: say("over.title", { mix: batch.id }), lead,
    body: [
      loose ? phrase("p", {}, say("over.not-taken", { mass: grams(loose) })) : "",
      chips({ legend: say("over.cup"), name: "cup", chosen: cure?.cup ?? largerCups(batch)[0]?.cup ?? cups[0]?.cup, options: cups.map((c) => ({ value: c.cup, label: c.cup, note: cupNote(c) })) }),
      massField({ label: say("over.empty"), hint: say("over.empty-hint"), name: "empty_g", min: 3 }),
    ],
    submitLabel: say("over.begin"),
    submit(data) {
      const empty = figure(data, "empty_g");
      return send({ cup: textOf(data, "cup"), ...(empty !== undefined && { empty_g: empty }) });
    },
  });
}

/** @param {API.OtherCup} cup */
function cupNote(cup) {
  const takes = cup.takes_g === undefined ? [] : [say("over.takes", { takes: grams(cup.takes_g, 0) })];
  return [...takes, cup.empty_g === undefined ? say("over.weigh-first") : say("over.weighs", { empty: grams(cup.empty_g) })].join(", ");
}

// whyLess is the question for a reason to go on although the new cup holds much less.
export const whyLess = () => ({
  title: say("over.lost-title"), lead: say("over.lost-lead"), reasons: [say("over.spilled"), say("over.stuck"), say("over.new-cup")],
});
