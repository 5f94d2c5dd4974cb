// The questions of the guided mix: why use it, what was it, really scrap it?
import { ask, chips, reasonFields, reasonOf, textOf } from "../lib/dialogs.js";
import { say } from "../lib/words.js";
import { term } from "./terms.js";

// goOn returns the question for a mix that is not as the recipe asks.
const goOn = () => ({
  title: say("override.title"), lead: say("override.lead"),
  reasons: [say("override.reweighed"), say("override.trial"), say("override.nothing-left")],
});

/**
 * overrideDialog asks for the reason to go on out of tolerance, or in spite of something else.
 * @param {(reason: string) => Promise<unknown>} send
 * @param {{ title: string, lead: string, reasons: string[] }} question
 */
export function overrideDialog(send, { title, lead, reasons } = goOn()) {
  ask({ title, lead, body: reasonFields(reasons), submitLabel: say("override.use"), submit: (data) => send(reasonOf(data)) });
}

/**
 * relabelDialog asks what the last pour really was.
 * @param {(part: string) => Promise<unknown>} send
 */
export function relabelDialog(send) {
  ask({
    title: say("relabel.title"),
    lead: say("relabel.lead"),
    body: [chips({
      legend: say("relabel.was"), name: "part",
      options: ["ink", "hardener", "thinner"].map((p) => ({ value: p, label: term("part", p) })),
    })],
    submitLabel: say("relabel.it"),
    submit: (data) => send(textOf(data, "part")),
  });
}

/**
 * abandonDialog asks once more before a mix is scrapped.
 * @param {{ id: string }} batch
 * @param {() => Promise<unknown>} send
 */
export function abandonDialog(batch, send) {
  ask({
    title: say("scrap.title", { batch: batch.id }),
    lead: say("scrap.lead"),
    submitLabel: say("scrap.it"), danger: true,
    submit: () => send(),
  });
}
