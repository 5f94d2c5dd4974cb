import assert from "node:assert/strict";
import { test } from "node:test";
import { sign } from "./signs.js";

// As much of a document as a drawing needs.
globalThis.document = {
  createElementNS: (_, tag) => {
    const element = { tag, attributes: {}, children: [] };
    element.setAttribute = (name, value) => (element.attributes[name] = String(value));
    element.append = (...children) => element.children.push(...children);
    return element;
  },
};

const drawn = (element) => JSON.stringify(element);
const shape = (meaning) => drawn(sign(meaning).children);

test("each meaning has a shape of its own", () => {
  const shapes = ["do-not-print", "unknown", "act", "soon", "in-order", "empty"].map(shape);
  assert.ok(shapes.every((s) => s.includes('"d"') || s.includes('"r"')), "a shape is not drawn");
  assert.equal(new Set(shapes).size, 6);
});

test("a meaning that this page does not know is drawn as unknown", () => {
  assert.equal(drawn(sign("something new")), drawn(sign("unknown")));
});
