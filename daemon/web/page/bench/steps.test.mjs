import assert from "node:assert/strict";
import { test } from "node:test";
import { ahead, instruction, stepsOf, stirWords } from "./steps.js";

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

test("a step to stir says for how long", () => {
  const now = Date.parse("2026-06-12T12:00:00Z");
  const batch = { step: "stir-hardener", pours: [{ part: "ink", at: "2026-06-12T11:50:00Z" }, { part: "hardener", at: "2026-06-12T11:59:25Z" }] };
  const words = (...given) => stirWords(...given).replaceAll("\u00a0", " ");
  assert.equal(words(batch, { stir_s: 90 }, now), "Stir for at least 1:30 min. 35 s since the hardener went in.");
  assert.equal(words(batch, { stir_s: 0 }, now), "35 s since the hardener went in.");
  assert.equal(words({ ...batch, step: "hardener" }, { stir_s: 90 }, now), "");
  assert.equal(words({ step: "stir-hardener" }, { stir_s: 90 }, now), "");
});

test("a mix that has no room for a correction says so, and asks for nothing more", () => {
  const batch = { step: "hardener", ink: "dial-satin", no_room: "There is no room.", targets_g: { thinner: 7 }, components: [{ part: "hardener", g: 20 }] };
  assert.deepEqual(instruction(batch, {}, undefined), { head: "There is no room.", hint: "Pour nothing more into this cup.", done: "" });
  assert.equal(ahead(batch, {}), "");
});

test("a pour into another cup stands before the step that it interrupts", () => {
  const over = { step: "hardener", cup: "cup-160", content_g: 112, not_taken_g: 27, old_g: 136 };
  const batch = { step: "pour-over", pour_over: over, ink: "dial-satin", targets_g: { thinner: 0 }, components: [] };
  assert.deepEqual(stepsOf(batch, { rest_s: 0 }), ["cup", "ink", "pour-over", "hardener", "stir-hardener", "load"]);
  assert.equal(instruction(batch, {}, undefined).done, "The empty cup is on");
  const words = instruction({ ...batch, pour_over: { ...over, empty_g: 41, whole_g: 153 } }, {}, undefined);
  assert.equal(words.head, "Pour all of it into cup-160, and put that on the scale");
  assert.match(words.hint, /about 153\.0.g/);
  assert.equal(ahead(batch, {}), "");
});
