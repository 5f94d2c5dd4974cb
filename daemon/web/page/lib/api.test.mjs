import assert from "node:assert/strict";
import { test } from "node:test";
import { change, get, Refused } from "./api.js";
import { say } from "./words.js";

const raw = "open /var/lib/potlifed/access.json: wait 1m3s";

/** @param {number} status @param {string} body */
function answer(status, body) {
  globalThis.fetch = async () => new Response(body, { status });
}

/** @param {() => Promise<unknown>} ask @returns {Promise<Refused>} */
async function refusalOf(ask) {
  try {
    await ask();
  } catch (error) {
    assert(error instanceof Refused);
    return error;
  }
  throw new Error("not refused");
}

test("a person sees the text of a problem, never its detail", async () => {
  for (const ask of [() => get("study"), () => change("batches/0612-1/close", {})]) {
    for (const status of [400, 404, 409, 422, 500, 503]) {
      answer(status, JSON.stringify({ status, title: "refused", detail: raw, text: "In words." }));
      assert.equal((await refusalOf(ask)).message, "In words.");
      answer(status, JSON.stringify({ status, title: "refused", detail: raw, errors: [{ location: "query.from", message: raw }], text: "In words." }));
      let told = await refusalOf(ask);
      assert.equal(told.message, "In words.");
      assert(told.raw.includes("query.from"), "what a program needs is behind the details");
      for (const body of [JSON.stringify({ status, title: "refused", detail: raw }), "<html>Bad Gateway</html>", ""]) {
        answer(status, body);
        told = await refusalOf(ask);
        assert.equal(told.message, say("api.refused"));
        assert(told.raw.includes(String(status)));
      }
    }
  }
});
