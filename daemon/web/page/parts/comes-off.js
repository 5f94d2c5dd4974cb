// The one question of a change-over: what becomes of the batch that comes off the press.
import { changeRow } from "../lib/api.js";
import { ask, pick } from "../lib/dialogs.js";
import { say } from "../lib/words.js";
import { leftPart } from "./left.js";
import { goesOn, lifeNote } from "./safe.js";

/**
 * comesOffDialog puts a batch on a press that holds another, and asks what becomes of that one. Only
 * what is scrapped needs a second answer, its weight.
 * @param {API.BatchView} batch
 * @param {string} press
 * @param {API.BatchView} old that the press holds
 * @param {import("../lib/store.js").Store} store
 * @param {import("./load.js").Looked} looked
 */
export function comesOffDialog(batch, press, old, store, looked) {
  const load = (/** @type {object} */ fate) => changeRow(store, "batches", `batches/${batch.id}/load`, { press, comes_off: { batch: old.id, ...fate }, ...looked });
  const now = store.clock.now();
  const life = lifeNote(old, now);
  pick({
    title: say("comes-off.title", { batch: old.id, press }),
    lead: [goesOn(batch, now), life && say("place.comes-off", { batch: old.id, life }), say("comes-off.lead", { batch: batch.id }), batch.ink !== old.ink && say("comes-off.other-ink", { ink: batch.ink, old: old.ink })].filter(Boolean).join(" "),
    groups: [{
      legend: say("comes-off.legend", { batch: old.id }),
      options: [
        { label: say("comes-off.used-up"), value: "used-up" },
        { label: say("comes-off.scrapped"), note: say("comes-off.scrapped-note"), value: "discarded" },
        { label: say("comes-off.gone-off"), note: say("comes-off.gone-off-note"), value: "went-off" },
        { label: say("comes-off.kept"), note: say("comes-off.kept-note"), value: "kept" },
        { label: say("comes-off.not-known"), value: "not-known" },
      ],
    }],
    async submit(outcome) {
      if (outcome === "discarded") return () => scrappedDialog(old, store, load);
      await load({ outcome, ...(outcome === "went-off" && { still_good: "no" }) });
    },
  });
}

/**
 * @param {API.BatchView} old
 * @param {import("../lib/store.js").Store} store
 * @param {(fate: object) => Promise<unknown>} load
 */
function scrappedDialog(old, store, load) {
  const left = leftPart(old, store);
  left.wanted(true);
  ask({
    title: say("comes-off.weigh-title", { batch: old.id }),
    body: left.element,
    submitLabel: say("comes-off.weigh-submit"),
    submit: (data) => load({ outcome: "discarded", ...left.body(data) }),
  });
}
