// The steps of a guided mix: what to do, how it is confirmed, and what comes next.
import { duration, grams, thinnerAmount } from "../lib/format.js";
import { say } from "../lib/words.js";

export const order = ["cup", "ink", "hardener", "stir-hardener", "thinner", "stir-thinner", "rest", "load"];

/** @type {Record<string, string>} */
const short = {
  cup: "Cup", ink: "Ink", hardener: "Hardener", "stir-hardener": "Stir", thinner: "Thinner",
  "stir-thinner": "Stir", rest: "Rest", load: "Load",
};

/**
 * shortName returns the step's name in the list of steps.
 * @param {string} step
 */
export function shortName(step) {
  return short[step] ?? step;
}

/**
 * stepsOf lists the steps of this mix. Thinner is left out where none is asked for, and the rest
 * where the ink needs none; the present step is never left out.
 * @param {Pick<API.BatchView, "step" | "components"> & { targets_g: Partial<API.Targets> }} batch
 * @param {Pick<API.InkView, "hardener" | "rest_s"> | undefined} ink
 */
export function stepsOf(batch, ink) {
  const thinned = (batch.targets_g.thinner ?? 0) > 0 || (batch.components ?? []).some((c) => c.part === "thinner");
  const rests = (ink?.rest_s ?? 0) > 0;
  return order.filter((step) => {
    if (step === batch.step) return true;
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
  if (!id) return part;
  return id.includes(part) ? id : `${part} ${id}`;
}

/**
 * instruction returns the one thing to do: a heading, a hint, and the words of the button that
 * confirms it.
 * @param {API.BatchView} batch
 * @param {Pick<API.InkView, "hardener" | "rest_s"> | undefined} ink
 * @param {API.PouringView} [pour]
 */
export function instruction(batch, ink, pour) {
  switch (batch.step) {
    case "cup":
      return { head: `Put an empty ${batch.cup} on the scale`, hint: "Take your hands off it and wait until the weight has settled.", done: "The cup is on" };
    case "ink":
    case "hardener":
    case "thinner": {
      const part = pour?.part ?? batch.step;
      const mending = part !== batch.step || (batch.corrections ?? []).length > 0;
      return {
        head: `${mending ? "Add" : "Pour"} ${partName(part, batch, ink)}`,
        hint: part === "thinner" && pour ? `${thinnerAmount(pour.target_g)}.` : "",
        done: `The ${part} is in`,
      };
    }
    case "stir-hardener":
      return { head: "Stir the hardener in", hint: "Slowly and thoroughly; scrape the side and the bottom.", done: "It is stirred in" };
    case "stir-thinner":
      return { head: "Stir the thinner in", hint: "Until no streak is left.", done: "It is stirred in" };
  }
  return { head: `Step ${batch.step}`, hint: "", done: "It is done" };
}

/**
 * ahead writes what comes after the present step, so that cans can be made ready; empty where
 * nothing does.
 * @param {Pick<API.BatchView, "step" | "components" | "ink" | "for_press"> & { targets_g: Partial<API.Targets> }} batch
 * @param {Pick<API.InkView, "hardener" | "rest_s"> | undefined} ink
 */
export function ahead(batch, ink) {
  const steps = stepsOf(batch, ink);
  const next = steps[steps.indexOf(batch.step ?? "") + 1];
  const target = batch.targets_g;
  switch (next) {
    case "ink":
      return `${grams(target.ink)} of ${partName("ink", batch, ink)}`;
    case "hardener":
      return `about ${grams(target.hardener)} of ${partName("hardener", batch, ink)}`;
    case "stir-hardener":
    case "stir-thinner":
      return "stir";
    case "thinner":
      return `thinner, ${thinnerAmount(target.thinner ?? 0)}`;
    case "rest":
      return `let it rest for ${duration(ink?.rest_s ?? 0)}`;
    case "load":
      return batch.for_press ? `onto ${batch.for_press}` : "onto a press";
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
    case "rest":
    case "load":
      return say("care.lid");
  }
  return "";
}
