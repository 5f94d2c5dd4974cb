import assert from "node:assert/strict";
import { test } from "node:test";
import { ahead, stepsOf } from "./steps.js";

test("thinner and rest are steps only where they are asked for", () => {
  assert.deepEqual(stepsOf({ step: "ink", targets_g: { thinner: 7.5 }, components: [] }, { rest_s: 900 }),
    ["cup", "ink", "hardener", "stir-hardener", "thinner", "stir-thinner", "rest", "load"]);
  assert.deepEqual(stepsOf({ step: "ink", targets_g: { thinner: 0 }, components: [] }, { rest_s: 0 }),
    ["cup", "ink", "hardener", "stir-hardener", "load"]);
});

test("the next step is announced", () => {
  const next = ahead({ step: "stir-hardener", targets_g: { thinner: 7.5 }, components: [] }, {});
  assert.equal(next.replaceAll("\u00a0", " "), "thinner, about 4 pipettes, 7.5 g by weight");
});
