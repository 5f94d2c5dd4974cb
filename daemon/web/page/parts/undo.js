// The last change, with ten seconds to take it back. It took effect at once: a light must not wait
// until a person is sure.
import { changeRow, onChanged, Refused } from "../lib/api.js";
import { button, h, setText, show } from "../lib/dom.js";
import { grams } from "../lib/format.js";

const seconds = 10;
const shownForMs = 4_000; // how long the result of an undo is shown

/** @type {Record<string, string>} */
const outcomes = { "used-up": "used up", discarded: "thrown away", "went-off": "gone off", "not-known": "not known" };
/** @param {Page.Place} body */
const place = (body) => body.press ?? `zone ${body.zone}`;

/**
 * words write what was done, by its verb; a verb that is not here cannot be taken back.
 * @type {Record<string, (id: string, body: any) => string>}
 */
const words = {
  load: (id, body) => `Put ${id} on ${body.press}`,
  move: (id, body) => `Moved ${id} to ${place(body)}`,
  unload: (id) => `Took ${id} off its press`,
  close: (id, body) => `Closed ${id} as ${outcomes[body.outcome] ?? body.outcome}`,
  good: (id) => `Said that ${id} is good`,
  thin: (id, body) => `Added ${grams(body.grams)} of thinner to ${id}`,
  split: (id, body) => `Split ${grams(body.grams)} off ${id}, to ${place(body.to)}`,
  "top-up": (id, body) => `Poured ${body.from} into ${id}`,
  tests: (id, body) => `Logged for ${id}: ${body.kind}, ${body.result}`,
  abandon: (id) => `Gave mix ${id} up`,
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
 * undoBar shows for ten seconds what was done, with a button that takes it back.
 * @param {Pick<Page.Tools, "store">} tools
 */
export function undoBar({ store }) {
  const what = h("p", { class: "undo-what", role: "status" });
  /** @type {{ id: string, seq: number, text: string, until: number } | undefined} */
  let last; // what can be taken back, and until when (monotonic ms)
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let timer;
  const undo = button("Undo", "big", async () => {
    const action = last;
    if (!action) return;
    try {
      await changeRow(store, "batches", `batches/${action.id}/undo`, { seq: action.seq });
      end(`Taken back: ${action.text}`);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      end(error.message);
    }
  });
  const bar = h("div", { class: "undo-bar", role: "region", "aria-label": "Undo", hidden: true }, what, undo);
  document.body.append(bar);
  const end = (/** @type {string} */ text) => {
    last = undefined;
    clearInterval(timer);
    setText(what, text);
    show(undo, false);
    timer = setTimeout(() => !last && show(bar, false), shownForMs);
  };
  const tick = () => {
    if (!last) return;
    const left = Math.ceil((last.until - performance.now()) / 1000);
    setText(undo, `Undo (${Math.max(left, 1)})`);
    undo.setAttribute("aria-label", `Undo: ${last.text}`);
    if (left > 0) return;
    last = undefined;
    clearInterval(timer);
    show(bar, false);
  };
  onChanged((path, body, answer) => {
    const text = doneWords(path, body);
    if (!text || !answer.id || answer.seq === undefined || answer.on_disk === false) return;
    clearInterval(timer);
    clearTimeout(timer);
    last = { id: answer.id, seq: answer.seq, text, until: performance.now() + 1000 * seconds };
    setText(what, text);
    show(undo, true);
    show(bar, true);
    tick();
    timer = setInterval(tick, 250);
  });
}
