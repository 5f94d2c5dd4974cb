import assert from "node:assert/strict";
import { test } from "node:test";
import { nextIs } from "./life.js";

const now = Date.parse("2026-11-29T12:00:00Z");
const ends = (high) => ({ low: high, expected: high, high });
const on = { id: "1129-1", press: "press-1" };

test("the mix that comes next on a press is named with how far it is", () => {
  const next = (more) => nextIs([on, { id: "1129-4", for_press: "press-1", ...more }], on, now);
  assert.match(next({ state: "mixing" }), /1129-4/);
  const words = new Set(["mixing", "resting", "open"].map((state) => next({ state })));
  assert.equal(words.size, 3);
});

test("there is none that is for another press, is on it already, or has gone off itself", () => {
  for (const more of [{ for_press: "press-2" }, { press: "press-1" }, { ends_at: ends("2026-11-29T11:59:00Z") }]) {
    assert.equal(nextIs([on, { id: "1129-4", for_press: "press-1", state: "open", ...more }], on, now), "");
  }
  assert.equal(nextIs([{ id: "1129-4", for_press: "press-1", state: "open" }], { id: "1129-2" }, now), "", "a batch on no press has no next");
});
