import assert from "node:assert/strict";
import { test } from "node:test";
import { byEarliestEnd, place, span, ticks } from "./axis.js";

const hour = 3600e3;

test("the axis reaches to the last end, within bounds", () => {
  assert.equal(span([], 0) / hour, 2);
  assert.equal(span([{ ends_at: { high: new Date(7 * hour) } }], 0) / hour, 7.5);
  assert.equal(span([{ ends_at: { high: new Date(90 * hour) } }], 0) / hour, 24);
});

test("a quick ink beside a slow one takes a sixth of the axis", () => {
  const until = (...hours) => span(hours.map((h) => ({ ends_at: { high: new Date(h * hour) } })), 0) / hour;
  assert.equal(until(14, 1.2), 8); // 7.2 h, by full hours
  assert.equal(until(14, 9), 14.75);
  assert.equal(until(14, 0.05), 3); // it does not follow a bar that shrinks to nothing
  assert.equal(until(14, -1), 14.75); // what is past its time has no bar
  assert.equal(until(1.2, 0.05), 2);
});

test("a place on the axis is between its ends", () => {
  assert.deepEqual([place(-5, 0, 100), place(25, 0, 100), place(500, 0, 100)], [0, 0.25, 1]);
});

test("ticks are round times of day", () => {
  const at = ticks(new Date(2026, 5, 12, 9, 17).getTime(), 4 * hour, 8).map((t) => new Date(t));
  assert.deepEqual(at.map((d) => d.getHours() * 100 + d.getMinutes()), [1000, 1030, 1100, 1130, 1200, 1230, 1300]);
});

test("the batch with the earliest end comes first, one without an end last", () => {
  const batches = [{ id: "a" }, { id: "b", ends_at: { low: "2026-06-12T12:00:00Z" } }, { id: "c", ends_at: { low: "2026-06-12T13:00:00+02:00" } }];
  assert.deepEqual(byEarliestEnd(batches).map((b) => b.id), ["c", "b", "a"]);
});
