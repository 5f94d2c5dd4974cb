// What a press has printed today, and the buttons that report its rejects: one for each kind of
// defect, one tap for one reject.
import { changeRow } from "../lib/api.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { tapButton } from "../lib/touch.js";
import { say } from "../lib/words.js";

/**
 * rejectsPart makes them for a press.
 * @param {Page.Tools} tools
 */
export function rejectsPart({ store, attempt, notify }) {
  /** @type {API.PressView | undefined} */
  let press;
  let takesOff = false; // the next tap takes one off
  const today = h("p", { class: "rejects-today" });
  const refusal = refusalLine();
  const kinds = h("div", { class: "reject-kinds", role: "group" });
  const off = button(say("board.take-off"), "big", () => turn(!takesOff));
  const panel = h("div", { class: "reject-panel", hidden: true }, kinds, off, refusal);
  const open = button(say("board.report-rejects"), "big reject-open", () => {
    show(panel, panel.hidden);
    open.setAttribute("aria-expanded", String(!panel.hidden));
    turn(false);
  });
  open.setAttribute("aria-expanded", "false");
  const element = h("div", { class: "rejects" }, today, open, panel);

  /** @param {boolean} value */
  function turn(value) {
    takesOff = value;
    off.setAttribute("aria-pressed", String(takesOff));
    draw();
  }

  /** @type {Map<string, number>} */
  const unsent = new Map(); // taps of each kind that came while a report was on its way
  let sending = false;

  /** @param {API.DefectCount} row */
  async function report(row) {
    unsent.set(row.kind, (unsent.get(row.kind) ?? 0) + (takesOff ? -1 : 1));
    turn(false);
    if (sending) return;
    sending = true;
    try {
      for (const [kind, add] of unsent) { // also visits kinds that are tapped meanwhile
        unsent.delete(kind);
        if (add !== 0) await attempt(refusal, () => send(kind, add));
      }
    } finally {
      sending = false;
    }
  }

  /**
   * @param {string} kind
   * @param {number} add
   */
  async function send(kind, add) {
    const id = press?.id ?? "";
    const { onDisk } = await changeRow(store, "presses", `presses/${id}/defects`, { kind, add });
    if (!onDisk) notify(say("board.reject-not-on-disk", { press: id }));
  }

  function draw() {
    if (!press) return;
    const rejects = press.defects?.reduce((sum, row) => sum + row.today, 0) ?? 0;
    setText(today, `${say("board.prints-today", { n: press.prints_today ?? 0 })}, ${say("board.rejects-today", { n: rejects })}`);
    for (const part of keyed(kinds, press.defects ?? [], (row) => row.kind, () => kindButton(report))) part.draw(press.id, takesOff);
  }

  return {
    element,
    /** @param {API.PressView | undefined} row */
    update(row) {
      press = row;
      show(element, Boolean(row));
      if (!row) return;
      open.setAttribute("aria-label", `${say("board.report-rejects")} (${row.id})`);
      off.setAttribute("aria-label", `${say("board.take-off")} (${row.id})`);
      kinds.setAttribute("aria-label", say("board.rejects-of", { press: row.id }));
      draw();
    },
  };
}

/**
 * kindButton makes the button of a kind of defect, with today's count of it.
 * @param {(row: API.DefectCount) => unknown} report
 */
function kindButton(report) {
  /** @type {API.DefectCount} */
  let row;
  const words = h("span", { class: "reject-words" });
  const count = h("span", { class: "reject-count" });
  const element = tapButton("", "big reject-kind", () => report(row));
  element.append(words, " ", count);
  return {
    element,
    update(/** @type {API.DefectCount} */ given) {
      row = given;
      setText(words, row.words);
      setText(count, String(row.today));
    },
    /**
     * @param {string} press
     * @param {boolean} takesOff
     */
    draw(press, takesOff) {
      element.dataset.off = String(takesOff);
      element.disabled = takesOff && row.today === 0;
      // A label begins with what is seen on the button.
      const values = { kind: row.words, count: row.today, press };
      element.setAttribute("aria-label", takesOff ? say("board.take-off-kind", values) : say("board.reject-kind", values));
    },
  };
}
