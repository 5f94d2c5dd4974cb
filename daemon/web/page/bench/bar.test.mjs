import assert from "node:assert/strict";
import { test } from "node:test";
import { barLength, pourState } from "./bar.js";

test("a pour is below, near, at or over its target", () => {
  const states = [5, 12.2, 14.25, 15.75, 15.8].map((g) => pourState({ poured_g: g, target_g: 15, low_g: 14.25, high_g: 15.75 }));
  assert.deepEqual(states, ["below", "near", "at", "at", "over"]);
});

test("the bar goes on past the target and past what is accepted", () => {
  assert.deepEqual([barLength({ target_g: 16, high_g: 17 }), barLength({ target_g: 50, high_g: 100 })], [20, 108]);
});
