import assert from "node:assert/strict";
import { test } from "node:test";
import { Store } from "./store.js";

test("what the stream said after a list was asked for is newer than the list", () => {
  let t = 0;
  const s = new Store(() => {}, () => t);
  s.put("batches", { id: "gone", state: "open" });
  t = 10;
  s.put("batches", { id: "x", state: "closed" });
  s.put("batches", { id: "y", state: "open", n: 2 });
  s.replace("batches", [{ id: "x", state: "open" }, { id: "y", state: "open", n: 1 }, { id: "z", state: "open" }], 5);
  assert.deepEqual(s.all("batches").map((b) => b.id + (b.n ?? "")), ["y2", "z"]);
});

test("a row that the stream held back does not replace the answer to a later change; a list of another journal does", () => {
  let t = 0;
  const s = new Store(() => {}, () => t);
  const press = () => s.get("batches", "x").press;
  s.put("batches", { id: "x", seq: 7, press: "press-1" });
  t = 10;
  s.put("batches", { id: "x", seq: 6, press: null });
  assert.equal(press(), "press-1");
  s.put("batches", { id: "x", seq: 7, press: "press-2" });
  assert.equal(press(), "press-2");
  s.replace("batches", [{ id: "x", seq: 2, press: "press-3" }], 11);
  assert.equal(press(), "press-3");
});

test("an alarm that is normal again is gone", () => {
  const s = new Store(() => {}, () => 0);
  s.put("alarms", { name: "clock", subject: "bench", state: "acknowledged" });
  s.put("alarms", { name: "queue", subject: "bench", state: "normal" });
  assert.deepEqual(s.all("alarms").map((a) => a.name), ["clock"]);
});
