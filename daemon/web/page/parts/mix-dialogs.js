// The questions of the guided mix: why go on, what was it, really give up?
import { ask, chips, reasonFields, reasonOf, textOf } from "../lib/dialogs.js";

const reasons = ["Weighed again, and it is right", "Only for a trial print", "Nothing left to put it right with"];

const goOn = { title: "Go on as it is?", lead: "The mix is not as the recipe asks. Your reason will be kept with this batch.", reasons };

/**
 * overrideDialog asks for the reason to go on out of tolerance, or in spite of something else.
 * @param {(reason: string) => Promise<unknown>} send
 * @param {{ title: string, lead: string, reasons: string[] }} question
 */
export function overrideDialog(send, { title, lead, reasons } = goOn) {
  ask({ title, lead, body: reasonFields(reasons), submitLabel: "Go on with this reason", submit: (data) => send(reasonOf(data)) });
}

/**
 * relabelDialog asks what the last pour really was.
 * @param {(part: string) => Promise<unknown>} send
 */
export function relabelDialog(send) {
  ask({
    title: "What was the last pour?",
    lead: "Its weight stays; it counts as what you say here, and the mix goes on from there.",
    body: [chips({
      legend: "It was", name: "part",
      options: ["ink", "hardener", "thinner"].map((p) => ({ value: p, label: p })),
    })],
    submitLabel: "That is what it was",
    submit: (data) => send(textOf(data, "part")),
  });
}

/**
 * abandonDialog asks once more before a mix is given up.
 * @param {{ id: string }} batch
 * @param {() => Promise<unknown>} send
 */
export function abandonDialog(batch, send) {
  ask({
    title: `Give mix ${batch.id} up?`,
    lead: "It ends here, and what is in the cup counts as waste. Dispose of it as local rules say; never close a lid tightly on it once hardener is in.",
    submitLabel: "Give it up", danger: true,
    submit: () => send(),
  });
}
