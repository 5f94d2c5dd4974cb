import assert from "node:assert/strict";
import { test } from "node:test";
import { barLength, pourState, pourWords } from "./bar.js";

test("a pour is below, near, right or over as the bench judges it", () => {
  const of = (poured_g, verdict) => pourState({ poured_g, low_g: 14.25, high_g: 15.75, verdict });
  assert.deepEqual([of(5, "below"), of(12.2, "below"), of(14.25, "right"), of(15.9, "over"), of(95, "too-much")], ["below", "near", "at", "over", "over"]);
});

const words = (pour) => {
  const { say, figure } = pourWords({ target_g: 60, low_g: 59.95, high_g: 80, cures: [], ...pour }, 1);
  return `${say}; ${figure}`.replaceAll("\u00a0", " ");
};

test("nobody is told to stop before the target, and everybody at the upper edge", () => {
  assert.equal(words({ poured_g: 59, verdict: "below" }), "Slowly now; 1.0 g to go");
  assert.equal(words({ target_g: 85, low_g: 84, poured_g: -0.1, verdict: "below" }), "Pour; 85.0 g to go");
  assert.equal(words({ poured_g: 60.2, verdict: "right" }), "It is right; 60.0 to 80.0 g is accepted");
  assert.equal(words({ poured_g: 79.5, verdict: "right" }), "Stop. It is right; 60.0 to 80.0 g is accepted");
});

test("while too much is still on the scale, the words are the cure", () => {
  const over = { target_g: 17, high_g: 17.8, poured_g: 20.9, verdict: "over" };
  assert.equal(words(over), "Stop. Too much; 3.9 g over the target");
  assert.equal(words({ ...over, cures: [{ kind: "add", part: "ink", g: 12.3, add: { ink_g: 12.3 }, total_g: 92.4, fits: true }] }),
    "3.9 g too much: add 12.3 g of ink; the finished mix will be 92.4 g and fits this cup");
  assert.equal(words({ poured_g: 95, verdict: "too-much", cures: [{ kind: "take-out", part: "ink", g: 15, total_g: 110, fits: true }] }),
    "Too much: take 15.0 g of ink out; up to 80.0 g in this pour is accepted; the finished mix will be 110.0 g and fits this cup");
  assert.equal(words({ poured_g: 95, verdict: "too-much", cures: [{ kind: "larger-cup", total_g: 130.6, fits: true, cup: "cup-150" }] }),
    "35.0 g too much: pour it into a larger cup, cup-150; the finished mix will be 130.6 g");
});

test("the bar goes on past the target and past what is accepted", () => {
  assert.deepEqual([barLength({ target_g: 16, high_g: 17 }), barLength({ target_g: 50, high_g: 100 })], [20, 108]);
});
