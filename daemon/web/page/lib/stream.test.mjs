import assert from "node:assert/strict";
import { test } from "node:test";
import { eventParser } from "./stream.js";

test("events are found wherever the text is cut, with comments, all line ends and several lines of data", () => {
  const text = ': open\n\nevent: scale\ndata: {"a":1}\n\nevent: batch\r\ndata: x\r\ndata:y\r\n\r\n:\nevent: empty\n\ndata: z\n\n';
  const want = ['scale={"a":1}', "batch=x\ny", "message=z"];
  for (let i = 0; i <= text.length; i++) {
    const got = [];
    const feed = eventParser((name, data) => got.push(`${name}=${data}`));
    feed(text.slice(0, i));
    feed(text.slice(i));
    assert.deepEqual(got, want, `cut at ${i}`);
  }
});
