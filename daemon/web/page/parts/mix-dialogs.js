// The questions of the guided mix: why use it, really scrap it?
import { ask, reasonFields, reasonOf } from "../lib/dialogs.js";
import { say } from "../lib/words.js";

// goOn returns the question for a mix that is not as the recipe asks.
const goOn = () => ({
  title: say("override.title"), lead: say("override.lead"),
  reasons: [say("override.reweighed"), say("override.trial"), say("override.nothing-left"), say("override.no-room")],
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
