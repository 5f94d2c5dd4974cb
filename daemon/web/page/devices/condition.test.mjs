import assert from "node:assert/strict";
import { test } from "node:test";
import { Store } from "../lib/store.js";
import { conditionOf, dependencies, dueOf, judge, zoneState } from "./condition.js";

const now = Date.parse("2026-06-12T12:00:00Z");
const fineChecks = [{ name: "journal", ok: true }, { name: "broker", ok: true }];

function storeWith(rows = {}) {
  const store = new Store(() => {}, () => 0);
  const all = { sensors: [{ id: "bench-air", condition: "up", since: "2026-06-11T12:00:00Z", checked_at: "2026-06-01T08:00:00Z" }], air: [{ zone: "bench", quality: "good" }], scales: [], alarms: [], ...rows };
  for (const [kind, list] of Object.entries(all)) store.replace(kind, list, 0);
  return store;
}

const alarm = (name, subject, text, state = "unacknowledged") => ({ name, subject, text, state });

test("an instrument under maintenance, in doubt, failed or new to the page", () => {
  const row = { id: "bench-air", condition: "up" };
  const about = [alarm("sensor-implausible", "bench-air", "it jumps")];
  const disagrees = alarm("sensor-disagrees", "bench-air", "4 % more");
  assert.equal(conditionOf(row, [], now).stands, "fine");
  assert.equal(conditionOf(row, about, now).stands, "doubt");
  assert.equal(conditionOf({ ...row, check_failed: "it read 53 %" }, [], now).stands, "bad");
  assert.equal(conditionOf({ ...row, device: "hdc1080", device_before: "sht4x" }, [], now).stands, "doubt");
  // A sensor that disagrees is not trusted, at once and not only when the alarm is raised.
  assert.equal(conditionOf({ ...row, disagrees: "bench-air reads 50 %" }, [], now).stands, "bad");
  assert.equal(conditionOf(row, [disagrees], now).stands, "bad");
  assert.equal(conditionOf(row, [{ ...disagrees, state: "suppressed" }], now).stands, "doubt");
  assert.equal(conditionOf({ ...row, condition: "stale" }, about, now).stands, "bad");
  assert.deepEqual(conditionOf({ ...row, condition: "melted" }, [], now), { stands: "unknown", words: "melted" });
  assert.equal(conditionOf({ ...row, check_failed: "x", out_of_service_until: "2026-06-12T14:00:00Z" }, [], now).stands, "out");
});

test("the air of a zone, with its reason", () => {
  assert.deepEqual(zoneState({ quality: "good" }), { stands: "fine", words: "Good" });
  assert.deepEqual(zoneState({ quality: "uncertain", why: "an old reading" }), { stands: "doubt", words: "Uncertain: an old reading" });
  assert.deepEqual(zoneState({ quality: "odd" }), { stands: "unknown", words: "odd" });
});

test("journal, broker and clock", () => {
  const stands = (...args) => dependencies(...args).map((d) => d.stands);
  assert.deepEqual(stands(storeWith(), fineChecks), ["fine", "fine", "fine"]);
  assert.deepEqual(stands(storeWith(), null), ["unknown", "unknown", "unknown"]);
  assert.deepEqual(stands(storeWith(), []), ["unknown", "out", "fine"]);
  assert.deepEqual(stands(storeWith({ alarms: [alarm("queue", "bench-1", "the queue is full"), alarm("clock", "bench-1", "not set")] }), fineChecks), ["fine", "doubt", "bad"]);
  assert.deepEqual(stands(storeWith({ alarms: [alarm("queue", "bench-1", "the queue was full", "returned")] }), fineChecks), ["fine", "fine", "fine"]);
  const plant = { name: "plant", ok: false, detail: "connection refused" };
  assert.deepEqual(stands(storeWith(), [...fineChecks, { ...plant, ok: true }]), ["fine", "fine", "fine", "fine"]);
  assert.deepEqual(stands(storeWith(), [...fineChecks, plant]), ["fine", "fine", "out", "fine"]);
  assert.equal(dependencies(storeWith(), [...fineChecks, plant])[2].detail, "connection refused");
  assert.equal(judge(storeWith(), now, true, [...fineChecks, plant]).stands, "fine", "the numbers are right without the plant");
  const journal = dependencies(storeWith(), [{ name: "journal", ok: false, detail: "no space" }])[0];
  assert.match(journal.words, /^Not being saved/);
  assert.equal(journal.detail, "no space");
});

test("the readings can be trusted when nothing is against it", () => {
  assert.deepEqual(judge(storeWith(), now, true, fineChecks), { stands: "fine", words: "The readings can be trusted", against: [] });
  // A shop without a broker can be trusted as well.
  assert.equal(judge(storeWith(), now, true, [{ name: "journal", ok: true }]).stands, "fine");
});

test("nobody is told to trust what was never checked", () => {
  const sensors = [{ id: "scale-1", condition: "up" }, { id: "bench-air", condition: "up" }, { id: "floor-air", condition: "up", checked_at: "2026-06-01T08:00:00Z" }];
  assert.deepEqual(judge(storeWith({ sensors }), now, true, fineChecks), { stands: "unknown", words: "No fault found, but never checked: bench-air, scale-1", against: [] });
});

test("what is against it is listed, and the worst decides", () => {
  const doubt = judge(storeWith({ air: [{ zone: "bench", quality: "uncertain", why: "an old reading" }] }), now, true, fineChecks);
  assert.deepEqual([doubt.stands, doubt.against], ["doubt", ["air of bench: Uncertain: an old reading"]]);
  const bad = judge(storeWith({ air: [{ zone: "bench", quality: "uncertain" }], scales: [{ id: "scale-1", quality: "bad", why: "silent" }] }), now, true, fineChecks);
  assert.deepEqual([bad.stands, bad.against], ["bad", ["scale-1: silent", "air of bench: Uncertain"]]);
});

test("without contact or without an instrument nothing is known", () => {
  assert.equal(judge(storeWith(), now, false, fineChecks).stands, "unknown");
  assert.equal(judge(storeWith({ sensors: [] }), now, true, fineChecks).stands, "unknown");
});

test("a check that is to come is told as such, and none that lies in the past", () => {
  const [checked_at, past, next] = ["2026-05-01T08:00:00Z", "2026-06-01T08:00:00Z", "2026-07-01T08:00:00Z"];
  assert.match(dueOf({ checked_at, check_due_at: next }, now), /checked .*May.*, next check due .*Jul/);
  assert.match(dueOf({ check_due_at: next }, now), /^next check due .*Jul/);
  assert.match(dueOf({ checked_at, check_due_at: past }, now), /checked .*May.*, its check was due .*Jun/);
  assert.match(dueOf({ check_due_at: past }, now), /^its check was due .*Jun/);
  const failed = dueOf({ checked_at, check_due_at: past, check_failed: "it read 53 %" }, now);
  assert.match(failed, /May/);
  assert.doesNotMatch(failed, /due/);
  assert.equal(dueOf({ checked_at }, now), "");
  assert.match(dueOf({}, now), /never checked; once a year/);
});
