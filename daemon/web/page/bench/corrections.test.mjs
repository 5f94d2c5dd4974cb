import assert from "node:assert/strict";
import { test } from "node:test";
import { correctionWords, firstPart } from "./corrections.js";

test("a correction says what to add, what that reaches and the mass of the mix", () => {
  const words = correctionWords({ add: { ink_g: 20, hardener_g: 5 }, thinner_g: 9, total_g: 110, to: "exact" });
  assert.deepEqual(JSON.parse(JSON.stringify(words).replaceAll("\u00a0", " ")), {
    add: "Add 20.0 g of ink, then 5.0 g of hardener", aim: "exactly on the recipe", total: "The finished mix will be 110.0 g, 9.0 g of it thinner.",
  });
});

test("the first part of a correction is the first that is poured", () => {
  assert.equal(firstPart({ add: { hardener_g: 5, ink_g: 0 } }), "hardener");
});
