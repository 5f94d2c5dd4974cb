// "Looked: still good": one tap, unless it overrides that the ink must not be printed.
import { closeDialog } from "./batch-dialogs.js";
import { pick } from "../lib/dialogs.js";
import { clockTime, percent } from "../lib/format.js";
import { say } from "../lib/words.js";

/** The causes of a light that say that the ink has gone off, or is too likely to have. */
const goneOff = ["risk-too-high", "adhesion-doubtful", "part-gone-off"];

/**
 * overridden returns what a look at a batch would override: that it is past its latest end, or what the light of
 * its press says of it. The text is empty where it overrides nothing.
 * @param {import("../lib/store.js").Store} store
 * @param {API.BatchView} batch
 * @param {number} now
 */
export function overridden(store, batch, now) {
  const latest = Date.parse(batch.ends_at?.high ?? "");
  if (latest <= now) return say("good.past", { latest: clockTime(latest, now), risk: percent(100 * (batch.risk ?? 1)) });
  const light = batch.press && store.all("lights").find((l) => l.press === batch.press && goneOff.includes(l.cause ?? ""));
  return light ? light.reason : "";
}

/**
 * lookedGood records that a batch was looked at and is still good. Where that overrides something, it asks first:
 * a mistaken tap must not bring dead ink back.
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 * @param {() => Promise<void>} record
 */
export async function lookedGood(batch, tools, record) {
  const overrides = overridden(tools.store, batch, tools.store.clock.now());
  if (!overrides) return record();
  pick({
    title: say("good.title", { batch: batch.id }),
    lead: `${overrides} ${say("good.overrides")}`,
    groups: [{
      legend: say("good.question"),
      options: [{ value: true, label: say("good.yes"), note: say("good.yes-note") }, { value: false, label: say("good.no"), note: say("good.no-note") }],
    }],
    submit: async (good) => (good ? void await record() : () => closeDialog(batch, tools)),
  });
}
