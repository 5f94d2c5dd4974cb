// Which press a batch goes onto, and the look that one past its time needs first.
import { changeRow } from "../lib/api.js";
import { ask, chips, pick, textOf } from "../lib/dialogs.js";
import { clockTime } from "../lib/format.js";
import { say } from "../lib/words.js";
import { closeDialog } from "./batch-dialogs.js";
import { care } from "./care.js";
import { comesOffDialog } from "./comes-off.js";
import { lookedGood, overridden } from "./good.js";
import { pressNote } from "./places.js";
import { goesOn, pastSafe } from "./safe.js";

/**
 * loadOnto puts a batch on a press. Where that holds another one, it asks what becomes of it.
 * @param {API.BatchView} batch
 * @param {string} press
 * @param {import("../lib/store.js").Store} store
 * @param {Looked} [looked]
 */
export async function loadOnto(batch, press, store, looked = {}) {
  const holds = store.get("presses", press)?.batch;
  const old = holds && store.get("batches", holds);
  if (old) return comesOffDialog(batch, press, old, store, looked);
  await changeRow(store, "batches", `batches/${batch.id}/load`, { press, ...(holds && { replace: true }), ...looked });
}

/**
 * Looked is what a change that puts a batch onto a press says of a look at it.
 * @typedef {{ looked?: true }} Looked
 */

/**
 * lookFirst asks what a batch past its time looks like, and goes on with next once somebody found it good:
 * the change that puts it onto a press says so. One that is not past its time needs no look.
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 * @param {(looked: Looked) => unknown} next
 */
export function lookFirst(batch, tools, next) {
  const { store } = tools;
  const now = store.clock.now();
  if (!batch.ends_at || !pastSafe(batch, now)) return next({});
  const good = async () => void await next({ looked: true }); // a refusal is shown in the question
  if (overridden(store, batch, now)) return lookedGood(batch, tools, good);
  pick({
    title: say("ready.look"),
    lead: [goesOn(batch, now), say("ready.was-safe", { batch: batch.id, safe: clockTime(Date.parse(batch.ends_at.low), now) })].join(" "),
    groups: [{ legend: say("look.how", { batch: batch.id }), options: [{ label: say("use.close"), value: "close" }, { label: say("use.good"), value: "good" }] }],
    submit: async (answer) => (answer === "close" ? () => closeDialog(batch, tools) : good()),
  });
}

/**
 * loadDialog asks for the press. One that holds a batch says so, and choosing it takes that off. A batch
 * past its time is looked at first.
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function loadDialog(batch, tools) {
  lookFirst(batch, tools, (looked) => whichPress(batch, tools.store, looked));
}

/**
 * @param {API.BatchView} batch
 * @param {import("../lib/store.js").Store} store
 * @param {Looked} looked
 */
function whichPress(batch, store, looked) {
  const presses = store.all("presses");
  const options = presses.map((p) => ({ value: p.id, label: p.id, note: pressNote(store, p, batch) }));
  const chosen = batch.for_press ?? presses.find((p) => !p.batch)?.id;
  ask({
    title: say("load.title", { batch: batch.id }),
    lead: goesOn(batch, store.clock.now()),
    body: [chips({ legend: say("load.press"), name: "press", options, chosen }), care(say("care.lid"))],
    submitLabel: say("load.on"),
    submit: (data) => loadOnto(batch, textOf(data, "press"), store, looked),
  });
}
