import assert from "node:assert/strict";
import { test } from "node:test";
import { rowOf } from "./storage.js";

test("a file that cannot be written is told with its reason", () => {
  const row = rowOf({ file: "history", bytes: 12_340_000, limit_bytes: 536_870_912, ok: false, detail: "disk full", dropped_readings: 3 });
  assert.equal(row.stands, "doubt");
  assert.equal(row.detail, "disk full");
  assert.equal(row.reading, "11.8 MiB");
  assert.match(String(row.facts[0]), /512 MiB/);
  assert.equal(row.facts.filter(Boolean).length, 2);
});

test("a file that can be written has no detail", () => {
  const row = rowOf({ file: "journal", bytes: 1_000_000, ok: true, dropped_readings: 0 });
  assert.equal(row.stands, "fine");
  assert.equal(row.detail, "");
  assert.equal(row.facts.filter(Boolean).length, 0);
});
