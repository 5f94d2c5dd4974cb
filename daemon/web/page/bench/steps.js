// The steps of a guided mix: what to do, what then to say, and what comes after.
import { duration, grams, pipettes } from "../lib/format.js";

export const order = ["cup", "ink", "hardener", "stir-hardener", "thinner", "stir-thinner", "rest", "load"];

const short = {
  cup: "Cup", ink: "Ink", hardener: "Hardener", "stir-hardener": "Stir", thinner: "Thinner",
  "stir-thinner": "Stir", rest: "Rest", load: "Load",
};

export function shortName(step) {
  return short[step] ?? step;
}

// stepsOf lists the steps that this mix goes through. Thinner is left out where none is asked
// for, and the rest where the ink needs none; what the mix stands at is never left out.
export function stepsOf(batch, ink) {
  const thinned = batch.targets_g?.thinner > 0 || batch.components?.some((c) => c.part === "thinner");
  const rests = ink?.rest_s > 0;
  return order.filter((step) => {
    if (step === batch.step) return true;
    if (step === "thinner" || step === "stir-thinner") return thinned;
    return step !== "rest" || rests;
  });
}

// partName is a part's own name: that of the ink or of its hardener.
export function partName(part, batch, ink) {
  const id = { ink: batch.ink, hardener: ink?.hardener }[part];
  if (!id) return part;
  return id.includes(part) ? id : `${part} ${id}`;
}

// instruction says the one thing to do: a heading, a hint, and the words on the button that
// says it is done.
export function instruction(batch, ink, pour) {
  switch (batch.step) {
    case "cup":
      return { head: `Put an empty ${batch.cup} on the scale`, hint: "Take your hands off it and wait until the weight has settled.", done: "The cup is on" };
    case "ink":
    case "hardener":
    case "thinner": {
      const part = pour?.part ?? batch.step;
      const mending = part !== batch.step || batch.corrections?.length > 0;
      return {
        head: `${mending ? "Add" : "Pour"} ${partName(part, batch, ink)}`,
        hint: part === "thinner" && pour ? `${grams(pour.target_g)} is ${pipettes(pour.target_g)}.` : "",
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

// ahead says what comes after the present step, so that hands and cans can be ready.
export function ahead(batch, ink) {
  const steps = stepsOf(batch, ink);
  const next = steps[steps.indexOf(batch.step) + 1];
  const target = batch.targets_g ?? {};
  switch (next) {
    case "ink":
      return `${grams(target.ink)} of ${partName("ink", batch, ink)}`;
    case "hardener":
      return `about ${grams(target.hardener)} of ${partName("hardener", batch, ink)}`;
    case "stir-hardener":
    case "stir-thinner":
      return "stir";
    case "thinner":
      return `about ${grams(target.thinner)} of thinner, ${pipettes(target.thinner)}`;
    case "rest":
      return `let it rest for ${duration(ink?.rest_s ?? 0)}`;
    case "load":
      return batch.for_press ? `onto ${batch.for_press}` : "onto a press";
  }
  return "";
}

// careFor is the short caution that belongs to a step.
export function careFor(step) {
  if (step === "hardener") return "Hardener: gloves and eye protection on, air moving.";
  if (step === "thinner") return "Thinner burns, and its vapour sinks: no flame, no sparks, air moving.";
  if (step === "rest" || step === "load") return "Never close a lid tightly on this mix: it may give off gas.";
  return "";
}
