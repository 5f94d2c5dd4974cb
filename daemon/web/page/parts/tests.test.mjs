import assert from "node:assert/strict";
import { test } from "node:test";
import { isoDay, startOfDay } from "../lib/dates.js";
import { firstTime } from "./tests.js";

test("a print of a closed batch was made after its hardener", () => {
  const midnight = startOfDay(isoDay(Date.parse("2026-06-12T12:00:00Z")));
  const at = (hours) => midnight + hours * 3_600_000;
  assert.equal(firstTime(at(9), "14:05"), at(14) + 5 * 60_000);
  assert.equal(firstTime(at(22), "01:30"), at(25.5)); // past midnight
  assert.equal(firstTime(at(9) + 20_000, "09:00"), at(9) + 20_000); // in the minute of the hardener
});
