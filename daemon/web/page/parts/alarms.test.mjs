import assert from "node:assert/strict";
import { test } from "node:test";
import { mutedWords, orderAlarms } from "./alarms.js";

const at = (/** @type {number} */ minutes) => new Date(Date.parse("2026-06-12T12:00:00Z") - minutes * 60e3).toISOString();
const row = (name, state, priority, minutes) => ({ name, subject: "x", state, priority, since: at(minutes), text: "" });

test("alarms by priority, then the longest standing; returned ones last; muted ones apart", () => {
  const rows = [
    row("new-low", "unacknowledged", "low", 1), row("returned-high", "returned", "high", 90), row("new-high", "unacknowledged", "high", 2),
    row("old-high", "acknowledged", "high", 60), row("shelved", "shelved", "high", 3), row("medium", "unacknowledged", "medium", 5),
    row("suppressed", "suppressed", "medium", 4), row("returned-low", "returned", "low", 95), row("maintained", "out-of-service", "low", 1),
    row("odd", "unacknowledged", "urgent", 1),
  ];
  const { shown, muted } = orderAlarms(/** @type {any} */ (rows));
  assert.deepEqual(shown.map((r) => r.name), ["odd", "old-high", "new-high", "medium", "new-low", "returned-high", "returned-low"]);
  assert.deepEqual(muted.map((r) => r.name), ["shelved", "suppressed", "maintained"]);
});

test("a batch has one alarm of its age: the later replaces the earlier, while it is shown itself", () => {
  const batch = (name, state, subject = "1129-1") => ({ name, subject, state, priority: "high", since: at(1), text: "" });
  const names = (...rows) => orderAlarms(/** @type {any} */ (rows)).shown.map((r) => `${r.name} ${r.subject}`);
  const risk = batch("batch-risk", "unacknowledged");
  assert.deepEqual(names(batch("batch-ending", "acknowledged"), risk, batch("batch-dead", "unacknowledged"), batch("life-cut", "returned")), ["batch-dead 1129-1", "life-cut 1129-1"]);
  assert.deepEqual(names(risk, batch("batch-dead", "unacknowledged", "1129-2")), ["batch-dead 1129-2", "batch-risk 1129-1"]);
  for (const state of ["returned", "shelved"]) assert.ok(names(risk, batch("batch-dead", state)).includes("batch-risk 1129-1"), state);
});

test("alarms that somebody has snoozed are counted by the word of the button", () => {
  const of = (...states) => mutedWords(/** @type {any} */ (states.map((state) => ({ state }))));
  assert.deepEqual([of("shelved"), of("shelved", "shelved"), of("suppressed"), of("shelved", "out-of-service")],
    ["1 snoozed alarm", "2 snoozed alarms", "1 muted alarm", "2 snoozed or muted alarms"]);
});
