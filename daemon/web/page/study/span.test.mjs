import assert from "node:assert/strict";
import test from "node:test";
import { address, chartDays, dayAfter, recorded } from "./span.js";

const study = { from: "2025-11-29T06:00:00Z", to: "2026-08-05T14:00:00Z" };

test("without dates, the pictures show the records, and the charts their last days", () => {
  const asked = new URLSearchParams("press=press-1");
  assert.equal(recorded(asked, study, 0).toString(), new URLSearchParams({ press: "press-1", from: "2025-11-29T06:00:00.000Z", to: study.to }).toString());
  assert.equal(recorded(asked, study, chartDays).get("from"), "2026-07-05T14:00:00.000Z");
  assert.equal(recorded(asked, { from: "2026-08-01T06:00:00Z", to: study.to }, chartDays).get("from"), "2026-08-01T06:00:00.000Z");
  assert.equal(asked.has("from"), false);
});

test("dates that were chosen are kept, and without records nothing is added", () => {
  for (const q of ["from=2026-01-01", "to=2026-02-01"]) assert.equal(recorded(new URLSearchParams(q), study, chartDays).toString(), q);
  for (const none of [undefined, {}]) assert.equal(recorded(new URLSearchParams(), none, chartDays).toString(), "");
});

test("the end of a span is the day after the one that was chosen", () => {
  assert.equal(dayAfter("2026-02-28"), "2026-03-01");
});

test("the address says what was chosen, and nothing of what is usual", () => {
  const usual = { from: "", to: "", press: "", kind: "", factor: "humidity_pct" };
  assert.equal(address(usual, "humidity_pct"), "");
  assert.equal(address({ ...usual, from: "2025-12-01", press: "press 1", factor: "spent" }, "humidity_pct"), "?from=2025-12-01&press=press+1&factor=spent");
});
