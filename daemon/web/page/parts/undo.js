// The last change, with ten seconds to take it back. It took effect at once: a light must not wait
// until a person is sure.
import { changeRow, onChanged, Refused } from "../lib/api.js";
import { button, h, setText, show } from "../lib/dom.js";
import { grams } from "../lib/format.js";
import { say } from "../lib/words.js";
import { term } from "./terms.js";

const seconds = 10;
const shownForMs = 4_000; // how long the result of an undo is shown

/** @param {Page.Place} body */
const place = (body) => body.press ?? say("place.zone", { zone: body.zone ?? "" });

/**
 * words write what was done, by its verb; a verb that is not here cannot be taken back.
 * @type {Record<string, (id: string, body: any) => string>}
 */
const words = {
  load: (id, body) => say("undo.load", { batch: id, press: body.press }),
  move: (id, body) => say("undo.move", { batch: id, place: place(body) }),
  unload: (id) => say("undo.unload", { batch: id }),
  close: (id, body) => say("undo.close", { batch: id, outcome: term("outcome", body.outcome) }),
  good: (id) => say("undo.good", { batch: id }),
  thin: (id, body) => say("undo.thin", { batch: id, mass: grams(body.grams) }),
  split: (id, body) => say("undo.split", { batch: id, mass: grams(body.grams), place: place(body.to) }),
  "top-up": (id, body) => say("undo.top-up", { batch: id, from: body.from }),
  tests: (id, body) => say("undo.test", { batch: id, test: term("test", body.kind), result: term("result", body.result) }),
  abandon: (id) => say("undo.scrap", { batch: id }),
};

/**
 * doneWords says what a change did if it can be taken back.
 * @param {string} path
 * @param {object | undefined} body
 */
export function doneWords(path, body) {
  const [, id = "", verb = ""] = /^batches\/([^/]+)\/([^/]+)$/.exec(path) ?? [];
  return words[verb]?.(decodeURIComponent(id), body ?? {});
}

/**
 * A change that can be taken back: what was done, what to mind about the lid of a cup that is covered
 * after it, and how to take it back.
 * @typedef {{ text: string, lid?: string, undo: () => Promise<unknown> }} Done
 */

/**
 * doneBy returns what a change did if it can be taken back.
 * @param {import("../lib/store.js").Store} store
 * @param {string} path
 * @param {any} body
 * @param {any} answer
 * @returns {Done | undefined}
 */
function doneBy(store, path, body, answer) {
  if (!answer.id || answer.on_disk === false) return undefined;
  if (/^presses\/[^/]+\/defects$/.test(path)) return rejected(store, path, body, answer);
  const text = doneWords(path, body);
  if (!text || answer.seq === undefined) return undefined;
  const lid = /\/(unload|move|split)$/.test(path) ? [standsWords(path, answer), say("care.lid")].filter(Boolean).join(" ") : "";
  return { text, lid, undo: () => changeRow(store, "batches", `batches/${answer.id}/undo`, { seq: answer.seq }) };
}

/**
 * standsWords says where the bench takes a cup to be that came off a press: its air counts from then on.
 * @param {string} path
 * @param {API.BatchView} batch
 */
const standsWords = (path, batch) => path.endsWith("/unload") && batch.zone ? say("undo.stands", { place: say("place.zone", { zone: batch.zone }) }) : "";

/**
 * rejected returns what a report of rejects did. It is taken back by a report of the opposite.
 * @param {import("../lib/store.js").Store} store
 * @param {string} path
 * @param {{ kind: string, add: number }} body
 * @param {API.PressView} press
 * @returns {Done}
 */
function rejected(store, path, body, press) {
  const kind = press.defects?.find((d) => d.kind === body.kind)?.words ?? body.kind;
  const text = body.add > 0 ? say("undo.reject", { n: body.add, press: press.id, kind }) : say("undo.take-off", { press: press.id, kind });
  return { text, undo: () => changeRow(store, "presses", path, { kind: body.kind, add: -body.add }) };
}

/**
 * undoBar shows for ten seconds what was done, with a button that takes it back.
 * @param {Pick<Page.Tools, "store">} tools
 */
export function undoBar({ store }) {
  const what = h("p", { class: "undo-what", role: "status" });
  const lid = h("p", { class: "undo-lid", hidden: true });
  /** @type {(Done & { until: number }) | undefined} */
  let last; // what can be taken back, and until when (monotonic ms)
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let timer;
  const undo = button(say("undo.undo"), "big", async () => {
    const action = last;
    if (!action) return;
    try {
      await action.undo();
      end(say("undo.undone", { what: action.text }));
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      end(error.message);
    }
  });
  const bar = h("div", { class: "undo-bar", role: "region", "aria-label": say("undo.undo"), hidden: true }, h("div", { class: "undo-words" }, what, lid), undo);
  document.body.append(bar);
  const end = (/** @type {string} */ text) => {
    last = undefined;
    clearInterval(timer);
    setText(what, text);
    show(lid, false);
    show(undo, false);
    timer = setTimeout(() => !last && show(bar, false), shownForMs);
  };
  const tick = () => {
    if (!last) return;
    const left = Math.ceil((last.until - performance.now()) / 1000);
    setText(undo, `${say("undo.undo")} (${Math.max(left, 1)})`);
    undo.setAttribute("aria-label", `${say("undo.undo")}: ${last.text}`);
    if (left > 0) return;
    last = undefined;
    clearInterval(timer);
    show(bar, false);
  };
  onChanged((path, body, answer) => {
    const done = doneBy(store, path, body, answer);
    if (!done) return;
    clearInterval(timer);
    clearTimeout(timer);
    last = { ...done, until: performance.now() + 1000 * seconds };
    setText(what, done.text);
    setText(lid, done.lid ?? "");
    show(lid, Boolean(done.lid));
    show(undo, true);
    show(bar, true);
    tick();
    timer = setInterval(tick, 250);
  });
}
