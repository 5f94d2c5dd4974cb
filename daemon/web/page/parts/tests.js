// Tests of prints: what was tested, and, for a batch that is closed, when its print was made.
import { change } from "../lib/api.js";
import { isoDay, startOfDay } from "../lib/dates.js";
import { ask, chips, field, textOf } from "../lib/dialogs.js";
import { say } from "../lib/words.js";
import { term } from "./terms.js";

const minuteMs = 60_000;
const dayMinutes = 24 * 60;

// testChips ask for the kind of a test and its result.
export const testChips = () => [
  chips({ legend: say("tests.kind"), name: "kind", options: ["adhesion", "rub"].map((kind) => ({ value: kind, label: term("test", kind) })) }),
  chips({ legend: say("tests.result"), name: "result", options: [{ value: "pass", label: say("tests.passed") }, { value: "fail", label: say("tests.failed") }] }),
];

/**
 * closedTestDialog asks for a test of a print of a batch that is closed, as a tape test on the next day. done is called once
 * it is recorded.
 * @param {{ id: string, mixed_at?: string }} batch
 * @param {() => void} done
 */
export function closedTestDialog(batch, done) {
  ask({
    title: say("tests.title", { batch: batch.id }),
    lead: say("tests.closed-lead"),
    body: [...testChips(), field({ label: say("tests.printed-at"), name: "printed", type: "time", required: true, hint: say("tests.printed-at-hint") })],
    submitLabel: say("tests.it"),
    async submit(data) {
      const printed = firstTime(Date.parse(batch.mixed_at ?? ""), textOf(data, "printed"));
      await change(`batches/${encodeURIComponent(batch.id)}/tests`, { kind: data.get("kind"), result: data.get("result"), printed_at: new Date(printed).toISOString() });
      done();
    },
  });
}

/**
 * firstTime returns the first instant in ms at or after another one with a time of day such as 14:05.
 * @param {number} from in ms
 * @param {string} time
 */
export function firstTime(from, time) {
  const [hours, minutes] = time.split(":").map(Number);
  const on = (/** @type {number} */ days) => startOfDay(isoDay(from + days * dayMinutes * minuteMs)) + (hours * 60 + minutes) * minuteMs;
  const minute = Math.floor(from / minuteMs) * minuteMs; // a print in the minute of the hardener counts as of that minute
  return Math.max(on(0) >= minute ? on(0) : on(1), from);
}
