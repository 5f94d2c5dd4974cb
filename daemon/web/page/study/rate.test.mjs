import assert from "node:assert/strict";
import { test } from "node:test";
import { perThousand } from "./rate.js";

test("an interval of many prints is not written as one figure", () => {
  assert.deepEqual([0.001311, 0.001274, 0.001342].map(perThousand), ["1.31", "1.27", "1.34"]);
});

test("many rejects are written out", () => {
  assert.deepEqual([0.1249, 1, 1.5, 0.0996, 0].map(perThousand), ["125", "1000", "1500", "99.6", "0.00"]);
});
