import assert from "node:assert/strict";
import { test } from "node:test";
import { nextIs } from "./life.js";

const on = { id: "1129-1", ink: "gloss-4", press: "press-1" };
const storeOf = (next_mix, mix) => ({ get: (kind, id) => (kind === "presses" ? { id, next_mix } : mix?.id === id ? mix : undefined) });

test("the mix that comes next on a press is named with how far it is, and its ink where that is another", () => {
  const next = (state, ink = "gloss-4") => nextIs(storeOf("1129-4", { id: "1129-4", ink, state }), on);
  assert.match(next("mixing"), /1129-4/);
  assert.equal(new Set(["mixing", "resting", "open"].map((state) => next(state))).size, 3);
  assert.match(next("open", "matt-10"), /matt-10/);
});

test("a mix is the next one only where the bench says so", () => {
  const waits = { id: "1129-4", ink: "gloss-4", for_press: "press-1", state: "open" };
  assert.equal(nextIs(storeOf(undefined, waits), on), "");
  assert.equal(nextIs(storeOf("1129-4", waits), { ...on, press: null }), "", "a batch on no press has no next");
});
