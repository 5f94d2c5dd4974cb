import assert from "node:assert/strict";
import { test } from "node:test";
import { calendar } from "./dates.js";

const plain = (value) => JSON.parse(JSON.stringify(value).replaceAll("\u00a0", " "));
const berlin = calendar("Europe/Berlin", "en");
const chicago = calendar("America/Chicago", "en");

test("an instant is written in the shop's zone, wherever the device is", () => {
  const at = "2026-09-29T03:12:00Z";
  assert.deepEqual(plain([berlin.dayTime(at), chicago.dayTime(at)]), ["29 Sep 2026, 05:12", "28 Sep 2026, 22:12"]);
  assert.deepEqual([berlin.isoDay(at), chicago.isoDay(at)], ["2026-09-29", "2026-09-28"]);
  assert.deepEqual(plain([berlin.month("2026-06"), chicago.month("2027-01")]), ["Jun 2026", "Jan 2027"]);
  assert.deepEqual([berlin.timeOfDay("2026-06-12T22:00:00Z"), chicago.timeOfDay("2026-06-12T05:00:00Z")], ["00:00", "00:00"]);
});

test("a time of another day has its weekday, one of another week its date", () => {
  const now = Date.parse("2026-06-12T20:00:00Z");
  const written = (iso) => berlin.clockTime(Date.parse(iso), now);
  assert.deepEqual(plain(["2026-06-12T05:05:00Z", "2026-06-12T22:30:00Z", "2026-05-02T08:00:00Z"].map(written)), ["07:05", "Sat 00:30", "2 May 2026, 10:00"]);
});

test("a date has no zone", () => {
  assert.deepEqual(plain([berlin.dateInWords("2026-06-02"), chicago.dayName("2026-06-12")]), ["2 Jun 2026", "Fri 12 Jun 2026"]);
});

test("a day begins at midnight in the shop, and at one o'clock where that hour is left out", () => {
  const begins = (c, date) => new Date(c.startOfDay(date)).toISOString();
  assert.equal(begins(berlin, "2026-06-12"), "2026-06-11T22:00:00.000Z");
  assert.equal(begins(berlin, "2026-03-29"), "2026-03-28T23:00:00.000Z");
  assert.equal(begins(berlin, "2026-03-30"), "2026-03-29T22:00:00.000Z");
  assert.equal(begins(berlin, "2026-10-26"), "2026-10-25T23:00:00.000Z");
  assert.equal(begins(chicago, "2026-11-01"), "2026-11-01T05:00:00.000Z");
  assert.equal(begins(calendar("America/Santiago", "en"), "2026-09-06"), "2026-09-06T04:00:00.000Z");
  assert.ok(["", "june", "2026-13-45", "2026-6-1"].every((date) => Number.isNaN(berlin.startOfDay(date))));
});

test("a zone that the browser does not know is the device's own; other languages have other names", () => {
  assert.equal(calendar("Mars/Olympus", "en").timeOfDay(0), calendar("", "en").timeOfDay(0));
  assert.equal(plain(calendar("UTC", "de").dayName("2026-05-06")), "Mi 6 Mai 2026");
});
