import assert from "node:assert/strict";
import { test } from "node:test";
import { BenchClock } from "./clock.js";

// clockAt makes a clock whose monotonic time is set by hand.
function clockAt(wall = 0) {
  const time = { mono: 0 };
  return { time, clock: new BenchClock(() => time.mono, () => wall) };
}

test("rows set a slow clock right, and late ones do not set it back", () => {
  const { time, clock } = clockAt();
  const got = [clock.now()];
  clock.saw(3600e3);
  got.push(clock.now());
  time.mono = 500;
  clock.saw(3600e3 + 300);
  got.push(clock.now());
  time.mono = 10e3;
  got.push(clock.now());
  assert.deepEqual(got, [0, 3600000, 3600500, 3610000]);
});

test("a scale that was never heard says nothing of the time", () => {
  const { clock } = clockAt(5000);
  clock.saw(Date.parse(undefined));
  assert.deepEqual([clock.now(), clock.known], [5000, false]);
});

test("a time lapse of 60 is found, and the time between rows runs at that speed", () => {
  const { time, clock } = clockAt();
  for (let i = 0; i <= 6; i++) {
    time.mono = i * 1000;
    clock.saw(i * 60e3);
  }
  time.mono += 500;
  assert.deepEqual([Math.round(clock.rate), Math.round(clock.now() / 1000)], [60, 390]);
});

test("a clock that was set forward or back is followed, and its step is no rate", () => {
  const { time, clock } = clockAt();
  for (let i = 0; i <= 6; i++) {
    time.mono = i * 1000;
    clock.saw(i * 1000);
  }
  time.mono = 7000;
  clock.saw(7000 + 7200e3);
  const forward = clock.now();
  for (let i = 8; i <= 9; i++) {
    time.mono = i * 1000;
    clock.saw(i * 1000);
  }
  assert.deepEqual([forward, clock.now(), clock.rate], [7207000, 9000, 1]);
});
