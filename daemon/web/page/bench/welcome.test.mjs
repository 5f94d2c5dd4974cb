import assert from "node:assert/strict";
import { test } from "node:test";
import { airUnknown, neverHeard, waitsFor } from "./welcome.js";

test("a start waits for a scale that shows nothing", () => {
  assert.equal(waitsFor(undefined), "");
  assert.equal(waitsFor({ id: "scale-1", quality: "good", time: "2026-06-12T10:00:00Z" }), "");
  assert.equal(waitsFor({ id: "scale-1", quality: "uncertain", time: "2026-06-12T10:00:00Z" }), "");
  assert.match(waitsFor({ id: "scale-1", quality: "bad", time: "2026-06-12T10:00:00Z" }), /scale-1: it shows no weight/);
  assert.match(waitsFor({ id: "scale-1", quality: "bad" }), /nothing has come from it yet/);
  assert.equal(neverHeard({ id: "scale-1", quality: "bad", time: "2026-06-12T10:00:00Z" }), false);
});

test("air that nobody measures is said to be assumed", () => {
  const good = { zone: "bench", quality: "good", temperature_c: 21 };
  assert.equal(airUnknown([]), "");
  assert.equal(airUnknown([good, { zone: "hall", quality: "bad" }]), "");
  assert.match(airUnknown([{ zone: "hall", quality: "bad", temperature_c: 21 }]), /assumed air/);
  assert.match(airUnknown([{ zone: "hall", quality: "uncertain" }]), /assumed air/);
});
