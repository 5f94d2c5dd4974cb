import assert from "node:assert/strict";
import { test } from "node:test";
import * as format from "./format.js";

// plain puts ordinary spaces in place of those that do not break.
const plain = (value) => JSON.parse(JSON.stringify(value).replaceAll("\u00a0", " "));

test("a duration is in seconds, minutes or hours", () => {
  for (const [seconds, want] of [[45, "45 s"], [63, "1 min 3 s"], [59.7, "1 min"], [119.4, "1 min 59 s"], [119.6, "2 min"], [59.6 * 60, "1 h 00 min"], [7440, "2 h 04 min"], [-5, "0 s"]]) {
    assert.equal(plain(format.duration(seconds)), want, `${seconds} s`);
  }
});

test("what remains is an expected value with its band", () => {
  for (const [ends, want] of [
    [{ expected: 22200, low: 18300, high: 27600 }, { figure: "6 h 10 min", band: "between 5 h 05 and 7 h 40 min" }],
    [{ expected: 2520, low: 1860, high: 3300 }, { figure: "42 min", band: "between 31 and 55 min" }],
    [{ expected: 4200, low: 2700, high: 4800 }, { figure: "1 h 10 min", band: "between 45 min and 1 h 20 min" }],
    [{ expected: 600, low: -60, high: 4800 }, { figure: "10 min", band: "between now and 1 h 20 min" }],
    [{ expected: -60, low: -600, high: 120 }, { figure: "about over", band: "between now and 2 min" }],
    [{ expected: -600, low: -900, high: -240 }, { figure: "past its time", band: "the latest end was 4 min ago" }],
  ]) {
    assert.deepEqual(plain(format.remaining(ends)), want);
  }
});

test("thinner is counted in whole pipettes", () => {
  for (const [grams, want] of [
    [7.5, "about 4 pipettes, 7.5 g by weight"], [2, "about 1 pipette, 2.0 g by weight"], [0.9, "less than a pipette, 0.9 g by weight"],
  ]) {
    assert.equal(plain(format.thinnerAmount(grams)), want, `${grams} g`);
  }
});

test("a scale's division gives its decimals", () => {
  assert.deepEqual([60, 60.5, 60.25, 0.1 + 0.2].map(format.decimalsOf), [0, 1, 2, 1]);
});

test("a number has a true minus sign and no negative zero", () => {
  assert.deepEqual([format.number(-0.04, 1), format.number(-3, 0)], ["0.0", "−3"]);
});

test("a temperature is in the unit of the shop", () => {
  assert.deepEqual([format.inDegrees(21.5, true), format.inDegrees(21.5, false), format.inDegrees(-40, true)], [70.7, 21.5, -40]);
  for (const celsius of [-20, 10, 21.5, 40, 80]) assert.equal(format.inCelsius(format.inDegrees(celsius, true), true), celsius);
  assert.deepEqual(plain([format.degrees(21.25), format.degrees(21.5, 1, true), format.degrees(20, 0), format.degrees(undefined, 1, true)]), ["21.3 °C", "70.7 °F", "20 °C", "–"]);
});

test("a countdown is rounded up", () => {
  assert.equal(plain(format.countdown(599.2)), "10:00 min");
  assert.equal(plain(format.countdown(60)), "1:00 min");
  assert.equal(plain(format.countdown(59)), "59 s");
  assert.equal(plain(format.countdown(-1)), "0 s");
});

test("a ratio within its tolerance is right, with what it is off by", () => {
  const ratio = (off) => plain(format.ratioWords({ ink_per_hardener: 4 / (1 + off / 100), off_pct: off, uncertainty_pct: 0.56, tolerance_pct: 5 }));
  assert.equal(ratio(0), "Ratio exact (4.00:1 ± 0.6 %)");
  assert.equal(ratio(4.4), "Ratio right: 4.4 % more hardener than asked, within ± 5 % (ratio 3.83:1 ± 0.6 %)");
  assert.equal(ratio(-4.4), "Ratio right: 4.4 % less hardener than asked, within ± 5 % (ratio 4.18:1 ± 0.6 %)");
  assert.equal(ratio(20), "20.0 % too much hardener, ± 5 % is allowed (ratio 3.33:1 ± 0.6 %)");
});

test("beyond twice the pot life no figure tells more", () => {
  for (const [share, want] of [[0, "0 %"], [0.874, "87 %"], [2, "200 %"], [2.01, "> 200 %"], [7.33, "> 200 %"]]) {
    assert.equal(plain(format.spentWords(share)), want);
  }
});
