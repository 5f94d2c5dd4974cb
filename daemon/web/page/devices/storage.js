// What the bench has stored: the size of each file, and whether it can be written.
import { get } from "../lib/api.js";
import { h, keyed } from "../lib/dom.js";
import { number } from "../lib/format.js";
import { say } from "../lib/words.js";
import { line } from "./line.js";

const askMs = 60_000; // sizes change slowly

/**
 * size writes a number of bytes in MiB, in which the limit is a round number.
 * @param {number} bytes
 */
export function size(bytes) {
  const value = bytes / 2 ** 20;
  return say("storage.mebibytes", { value: number(value, Number.isInteger(value) ? 0 : 1) });
}

/**
 * rowOf is a file as a line of the page.
 * @param {API.Stored} file
 */
export function rowOf({ file, bytes, limit_bytes: limit, ok, detail, dropped_readings: dropped }) {
  return {
    id: say(file === "journal" ? "storage.journal" : "storage.history"),
    stands: /** @type {import("./condition.js").Standing} */ (ok ? "fine" : "doubt"),
    words: say(ok ? "storage.fine" : "storage.not-written"),
    detail: detail ?? "",
    reading: size(bytes),
    facts: [limit !== undefined && limit > 0 && say("storage.limit", { size: size(limit) }), dropped > 0 && say("storage.dropped", { count: dropped })],
  };
}

// storagePanel lists the files. update asks for them now and then, and parts are what goes into the page.
export function storagePanel() {
  const list = h("ul", { class: "devices" });
  const free = h("p", { class: "quiet" });
  const version = h("p", { class: "quiet" });
  let asked = -Infinity;

  async function update() {
    if (performance.now() - asked < askMs) return;
    asked = performance.now();
    /** @type {API.StorageList} */
    let known;
    try {
      known = await get("storage");
    } catch {
      return; // Contact is judged by the stream.
    }
    free.textContent = known.free_bytes === undefined ? "" : say("storage.free", { size: size(known.free_bytes - (known.free_bytes % 2 ** 20)) });
    version.textContent = known.version ? say("storage.version", { version: known.version }) : "";
    keyed(list, known.storage ?? [], (row) => row.file, (/** @type {API.Stored} */ row) => {
      const part = line(null);
      part.draw(rowOf(row));
      return { element: part.element, update: (/** @type {API.Stored} */ next) => part.draw(rowOf(next)) };
    });
  }
  return { parts: [h("h2", { text: say("storage.title") }), list, free, version], update };
}
