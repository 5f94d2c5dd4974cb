import assert from "node:assert/strict";
import { test } from "node:test";
import { mixFor, neediest, needOf } from "./need.js";

const now = Date.parse("2026-06-12T12:00:00Z");
const inMinutes = (n) => new Date(now + n * 60_000).toISOString();
const ends = (low) => ({ ends_at: { low: inMinutes(low), expected: inMinutes(low + 60), high: inMinutes(low + 120) } });

/** rows make a store of presses and batches. */
function rows(presses, batches) {
  const kinds = { presses, batches };
  return { all: (kind) => kinds[kind], get: (kind, id) => kinds[kind].find((r) => r.id === id) };
}

const prints = (press, id, nextMix) => [{ id: press, batch: id }, { id, press, next_mix_at: inMinutes(nextMix), ...ends(nextMix + 20) }];

test("the press that runs out comes first, then an empty one, then the one whose next mix comes first", () => {
  const [p1, b1] = prints("press-1", "1", 90);
  const [p2, b2] = prints("press-2", "2", 30);
  const [p3, b3] = prints("press-3", "3", -5);
  const empty = { id: "press-4", batch: null };
  const of = (...presses) => neediest(rows(presses, [b1, b2, b3]), presses, now)?.id;
  assert.equal(of(p1, p2, p3, empty), "press-3");
  assert.equal(of(p1, p2, empty), "press-2");
  assert.equal(of(p1, empty), "press-4");
  assert.equal(of(p1, p2), "press-2");
  assert.equal(of(), undefined);
});

test("a press that has its mix needs none, until that may have gone off", () => {
  const press = { id: "press-1", batch: null, next_mix: "5" };
  const mix = { id: "5", for_press: "press-1", state: "open", step: "load", ...ends(200) };
  const free = { id: "press-2", batch: null };
  const store = rows([press, free], [mix]);
  assert.equal(neediest(store, [press, free], now)?.id, "press-2");
  assert.equal(neediest(store, [press], now), undefined);
  assert.match(needOf(store, press, now).words, /15:20/);
  assert.equal(neediest(rows([press], [{ ...mix, ...ends(-1) }]), [press], now)?.id, "press-1");
  assert.equal(neediest(rows([press], [{ ...mix, look_first: true }]), [press], now)?.id, "press-1");
  assert.equal(mixFor(rows([press], [{ ...mix, id: "4" }, mix]), press, now)?.id, "5");
});

test("a mix that is made has no end yet", () => {
  const press = { id: "press-1", batch: null };
  const need = needOf(rows([press], [{ id: "5", for_press: "press-1", state: "mixing", step: "ink" }]), press, now);
  assert.deepEqual([need.rank, need.words.includes("5")], [3, true]);
});
