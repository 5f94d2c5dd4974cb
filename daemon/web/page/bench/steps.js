// The steps of a guided mix: what to do, how it is confirmed, and what comes next.
import { countdown, duration, grams, secondsUntil, thinnerAmount } from "../lib/format.js";
import { say } from "../lib/words.js";
import { term } from "../parts/terms.js";

export const order = ["cup", "ink", "hardener", "stir-hardener", "thinner", "stir-thinner", "rest", "load"];

/** @type {Record<string, Words.Key>} */
const short = {
  cup: "steps.cup", ink: "steps.ink", hardener: "steps.hardener", "stir-hardener": "steps.stir", thinner: "steps.thinner",
  "stir-thinner": "steps.stir", rest: "steps.rest", load: "steps.load", "pour-over": "steps.pour-over",
};

/**
 * shortName returns the step's name in the list of steps.
 * @param {string} step
 */
export function shortName(step) {
  const key = short[step];
  return key ? say(key) : step;
}

/**
 * stepsOf lists the steps of this mix. Thinner is left out where none is asked for, and the rest
 * where the ink needs none; the present step is never left out. A pour into another cup stands before the step
 * that it interrupts.
 * @param {Pick<API.BatchView, "step" | "components"> & { pour_over?: Pick<API.PourOver, "step"> } & { targets_g: Partial<API.Targets> }} batch
 * @param {Pick<API.InkView, "hardener" | "rest_s"> | undefined} ink
 */
export function stepsOf(batch, ink) {
  const thinned = (batch.targets_g.thinner ?? 0) > 0 || (batch.components ?? []).some((c) => c.part === "thinner");
  const rests = (ink?.rest_s ?? 0) > 0;
  const here = batch.pour_over?.step ?? batch.step;
  return order.flatMap((step) => (step === batch.pour_over?.step ? ["pour-over", step] : [step])).filter((step) => {
    if (step === here || step === "pour-over") return true;
    if (step === "thinner" || step === "stir-thinner") return thinned;
    return step !== "rest" || rests;
  });
}

/**
 * partName returns the name of a part: that of the ink or of its hardener.
 * @param {string} part
 * @param {Pick<API.BatchView, "ink">} batch
 * @param {Pick<API.InkView, "hardener" | "rest_s"> | undefined} ink
 */
export function partName(part, batch, ink) {
  const id = part === "ink" ? batch.ink : part === "hardener" ? ink?.hardener : undefined;
  if (!id) return term("part", part);
  return id.includes(part) ? id : say("steps.part", { part: term("part", part), material: id });
}

/**
 * mends tells whether a pour that went wrong is being corrected.
 * @param {Pick<API.BatchView, "step" | "corrections">} batch
 * @param {Pick<API.PouringView, "part">} [pour]
 */
export const mends = (batch, pour) => (pour !== undefined && pour.part !== batch.step) || (batch.corrections ?? []).length > 0;

/**
 * instruction returns the one thing to do: a heading, a hint, and the words of the button that
 * confirms it.
 * @param {API.BatchView} batch
 * @param {Pick<API.InkView, "hardener" | "rest_s"> | undefined} ink
 * @param {API.PouringView} [pour]
 */
export function instruction(batch, ink, pour) {
  if (batch.no_room) return { head: batch.no_room, hint: say("steps.pour-nothing"), done: "" };
  switch (batch.step) {
    case "cup":
      return { head: say("steps.put-cup", { cup: batch.cup }), hint: say("steps.hands-off"), done: say("steps.cup-on") };
    case "ink":
    case "hardener":
    case "thinner": {
      const part = pour?.part ?? batch.step;
      return {
        head: say(mends(batch, pour) ? "steps.add" : "steps.pour", { what: partName(part, batch, ink) }),
        hint: part === "thinner" && pour ? `${thinnerAmount(pour.target_g)}.` : part === "ink" && !mends(batch, pour) ? say("steps.ink-window") : "",
        done: say("steps.in", { part: term("part", part) }),
      };
    }
    case "stir-hardener":
      return { head: say("steps.stir-hardener"), hint: say("steps.scrape"), done: say("steps.stirred") };
    case "pour-over": {
      const over = batch.pour_over;
      if (over?.whole_g === undefined) return { head: say("steps.weigh-new-cup"), hint: say("steps.weigh-new-cup-hint", { cup: over?.cup ?? "" }), done: say("steps.empty-cup-on") };
      return { head: say("steps.pour-into", { cup: over.cup }), hint: say("steps.pour-into-hint", { whole: grams(over.whole_g) }), done: say("steps.all-in-new-cup") };
    }
    case "stir-thinner":
      return { head: say("steps.stir-thinner"), hint: say("steps.no-streak"), done: say("steps.stirred") };
  }
  return { head: say("steps.step", { step: term("step", batch.step ?? "") }), hint: "", done: say("steps.done") };
}

/**
 * stirWords writes for how long it may have been stirred, since the last part went in, and for how long it is to be
 * stirred where the ink says so; empty at other steps, and where the time is not known.
 * @param {Pick<API.BatchView, "step" | "pours">} batch
 * @param {Pick<API.InkView, "stir_s"> | undefined} ink
 * @param {number} now
 */
export function stirWords(batch, ink, now) {
  const last = batch.pours?.at(-1);
  if (!last || !batch.step?.startsWith("stir-")) return "";
  const words = { part: term("part", last.part), time: countdown(Math.floor(-secondsUntil(Date.parse(last.at), now))) };
  return ink?.stir_s ? say("steps.stir-at-least", { ...words, needed: countdown(ink.stir_s) }) : say("steps.stir-time", words);
}

/**
 * ahead writes what comes after the present step, so that cans can be made ready; empty where
 * nothing does.
 * @param {Pick<API.BatchView, "step" | "components" | "ink" | "for_press" | "no_room"> & { pour_over?: Pick<API.PourOver, "step"> } & { targets_g: Partial<API.Targets> }} batch
 * @param {Pick<API.InkView, "hardener" | "rest_s"> | undefined} ink
 */
export function ahead(batch, ink) {
  if (batch.no_room || batch.step === "pour-over") return "";
  const steps = stepsOf(batch, ink);
  const next = steps[steps.indexOf(batch.step ?? "") + 1];
  const target = batch.targets_g;
  switch (next) {
    case "ink":
      return say("steps.next-ink", { mass: grams(target.ink), what: partName("ink", batch, ink) });
    case "hardener":
      return say("steps.next-hardener", { mass: grams(target.hardener), what: partName("hardener", batch, ink) });
    case "stir-hardener":
    case "stir-thinner":
      return say("steps.next-stir");
    case "thinner":
      return say("steps.next-thinner", { amount: thinnerAmount(target.thinner ?? 0) });
    case "rest":
      return say("steps.next-rest", { for: duration(ink?.rest_s ?? 0) });
    case "load":
      return batch.for_press ? say("steps.next-press", { press: batch.for_press }) : say("steps.next-load");
  }
  return "";
}

/**
 * cautionFor returns the short caution that belongs to a step; empty where there is none.
 * @param {string | null} step
 */
export function cautionFor(step) {
  switch (step) {
    case "ink":
      return say("care.ink");
    case "hardener":
      return say("care.hardener");
    case "thinner":
      return say("care.thinner");
    case "stir-hardener":
    case "stir-thinner":
      return say("care.stir");
    case "pour-over":
      return say("care.pour-over");
    case "rest":
    case "load":
      return say("care.lid");
  }
  return "";
}
