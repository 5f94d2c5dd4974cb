import assert from "node:assert/strict";
import { test } from "node:test";
import { say } from "./words.js";

test("a text, its values and its plural", () => {
  assert.equal(say("alarms.acknowledge"), "Acknowledge");
  assert.equal(say("no.such.key"), "no.such.key");
});
