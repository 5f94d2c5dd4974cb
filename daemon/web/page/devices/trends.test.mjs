import assert from "node:assert/strict";
import { test } from "node:test";
import { rowOf } from "./trends.js";

const row = { id: "stirrer", press: "press-1", batch: "0612-1", condition: "up", since: "2026-06-12T08:00:00Z", value: 21.4567, read_at: "2026-06-12T09:00:00Z" };
const facts = (one) => rowOf(one).facts.filter(Boolean);

test("an instrument that follows a batch", () => {
  const it = rowOf(row);
  assert.equal(it.stands, "fine");
  assert.equal(it.reading, "21.46");
  assert.match(String(it.facts[0]), /0612-1.*press-1/);
  assert.equal(facts(row).length, 2);
  assert.match(String(facts({ ...row, batch: undefined })[0]), /No batch is on press-1/);
});

test("one that is not believed, or does not answer", () => {
  assert.equal(rowOf({ ...row, doubted: "it has stuck" }).stands, "doubt");
  assert.ok(facts({ ...row, doubted: "it has stuck" }).includes("it has stuck"));
  assert.equal(rowOf({ ...row, condition: "stale", doubted: "it has stuck" }).stands, "bad");
  assert.equal(rowOf({ ...row, condition: "waiting", value: undefined }).reading, "");
  assert.equal(rowOf({ ...row, condition: "melted" }).words, "melted");
});

test("a value has four digits, whatever its unit is", () => {
  for (const [value, shown] of [[0.012345, "0.01235"], [12345.6, "12346"], [0, "0"]]) assert.equal(rowOf({ ...row, value }).reading, shown);
});
