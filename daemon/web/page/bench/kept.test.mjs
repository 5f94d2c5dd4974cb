import assert from "node:assert/strict";
import { test } from "node:test";
import { keptAtMostMs, keptNext } from "./kept.js";

const kept = { about: "0612-4 ink", since: 1000 };
const seen = { about: "0612-4 ink", stable: false, at: "t1", onPan: true, heard: true };

test("a kept tap waits for the weight and is carried out once for each settled reading", () => {
  assert.equal(keptNext(kept, seen, 1500), "wait");
  assert.equal(keptNext(kept, { ...seen, stable: true }, 1500), "take");
  assert.equal(keptNext({ ...kept, triedAt: "t1" }, { ...seen, stable: true }, 1500), "wait");
  assert.equal(keptNext({ ...kept, triedAt: "t1" }, { ...seen, stable: true, at: "t2" }, 1500), "take");
});

test("it is never carried out at another step, without a weight, without the cup, or late", () => {
  const still = { ...seen, stable: true };
  assert.equal(keptNext(kept, { ...still, about: "0612-4 hardener" }, 1500), "step");
  assert.equal(keptNext(kept, { ...still, about: "0612-5 ink" }, 1500), "step");
  assert.equal(keptNext(kept, { ...still, heard: false }, 1500), "unheard");
  assert.equal(keptNext(kept, { ...still, onPan: false }, 1500), "away");
  assert.equal(keptNext(kept, still, 1000 + keptAtMostMs + 1), "late");
});
