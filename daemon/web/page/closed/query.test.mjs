import assert from "node:assert/strict";
import { test } from "node:test";
import { address, asked, dayBeside, wantedOf } from "./query.js";

const none = { day: "", press: "", ink: "", outcome: "", search: "" };

test("the address keeps what is asked for", () => {
  assert.equal(address(none), "");
  const wanted = { ...none, day: "2026-06-12", search: "a&b c" };
  assert.deepEqual(wantedOf(address(wanted)), wanted);
  assert.deepEqual(wantedOf("?day=june&press=press-1&other=1"), { ...none, press: "press-1" });
  assert.deepEqual(wantedOf("?day=2026-13-45"), none);
});

test("a day is asked for from its first to its last moment", () => {
  const query = new URLSearchParams(asked({ ...none, day: "2026-06-12", ink: "x" }, { limit: 100, before: 0 }).split("?")[1]);
  assert.equal(query.get("state"), "closed");
  assert.equal(query.get("ink"), "x");
  assert.equal(query.get("limit"), "100");
  assert.equal(query.has("press"), false);
  assert.equal(new Date(query.get("from")).getTime(), new Date(2026, 5, 12).getTime());
  assert.equal(new Date(query.get("to")).getTime(), new Date(2026, 5, 13).getTime());
  const all = new URLSearchParams(asked(none).split("?")[1]);
  assert.equal(all.get("from"), "2000-01-02");
  assert.equal(all.has("to"), false);
});

test("the day before and after", () => {
  assert.equal(dayBeside("2026-03-01", -1), "2026-02-28");
  assert.equal(dayBeside("2026-12-31", 1), "2027-01-01");
});
