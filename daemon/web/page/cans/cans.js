// The cans, each with its state in words and its buttons.
import { changeRow } from "../lib/api.js";
import { makeDialog, moreDialog, openedDialog } from "./dialogs.js";
import { dateInWords, day } from "../lib/dates.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { say } from "../lib/words.js";
import { term } from "../parts/terms.js";

/** @type {Record<string, Words.Key>} */
const states = { new: "cans.new", "in-use": "cans.in-use", expired: "cans.expired", "expiry-not-known": "cans.expiry-not-known", empty: "cans.empty" };

/** @param {API.CanView} can */
function stateWords({ state, last_day: last }) {
  if (state === "expired" && last) return say("cans.expired-on", { day: dateInWords(last) });
  const key = states[state];
  return key ? say(key) : state;
}

/**
 * cansPanel shows them. find shows the batches that a can is in.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 * @param {(what: { can: string }) => unknown} find
 */
export function cansPanel(element, tools, find) {
  const { store } = tools;
  const list = h("ul", { class: "cans" });
  const gone = h("ul", { class: "cans" });
  const empties = h("details", {}, h("summary", { text: say("cans.empties") }), gone);
  const none = h("p", { class: "quiet", text: say("cans.none") });
  element.append(h("h2", { text: say("cans.title") }), none, list,
    h("div", { class: "actions" }, button(say("cans.add"), "big main", () => makeDialog(tools))), empties);
  return {
    update() {
      const rows = store.all("cans");
      const [there, empty] = [rows.filter((c) => c.state !== "empty"), rows.filter((c) => c.state === "empty")];
      show(none, rows.length === 0 && store.loaded.has("cans"));
      show(empties, empty.length > 0);
      keyed(list, there, (c) => c.id, () => canRow(tools, find));
      keyed(gone, empty, (c) => c.id, () => canRow(tools, find));
    },
  };
}

/**
 * @param {Page.Tools} tools
 * @param {(what: { can: string }) => unknown} find
 */
function canRow({ store, attempt }, find) {
  const refusal = refusalLine();
  /** @type {API.CanView} */
  let can;
  const post = (/** @type {string} */ verb, /** @type {object} */ body = {}) => attempt(refusal, () => changeRow(store, "cans", `cans/${can.id}/${verb}`, body));
  const name = h("strong", { class: "can-name" });
  const what = h("span", { class: "can-what" });
  const state = h("p", { class: "can-state" });
  const facts = h("p", { class: "can-facts" });
  const stir = h("p", { class: "can-stir" });
  const stirred = button(say("cans.stirred"), "small", () => post("stirred"));
  const opened = button(say("cans.opened"), "small", () => openedDialog(can, store));
  const back = button(say("cans.not-empty"), "small", () => post("emptied", { undo: true }));
  const more = button(say("cans.more"), "small", () => moreDialog(can, store, find));
  const all = [stirred, opened, back, more];
  return {
    element: h("li", { class: "can" }, h("div", { class: "can-text" }, h("p", { class: "can-line" }, name, what), state, stir, facts),
      h("div", { class: "can-actions" }, all), refusal),
    update(/** @type {API.CanView} */ row) {
      can = row;
      setText(name, row.id);
      setText(what, [`${term("part", row.part)} ${row.material}`, row.lot && say("cans.lot", { lot: row.lot }), row.colour].filter(Boolean).join(", "));
      setText(state, stateWords(row));
      state.dataset.state = row.state;
      setText(stir, row.stir && row.state !== "empty" ? say("cans.stir", { why: row.stir }) : "");
      show(stir, stir.textContent !== "");
      setText(facts, [
        row.opened_on && say("cans.opened-on", { day: dateInWords(row.opened_on) }), row.last_day && say("cans.last-day", { day: dateInWords(row.last_day) }),
        row.stirred_at && say("cans.stirred-on", { day: day(row.stirred_at) }), row.used_at && say("cans.used-on", { day: day(row.used_at) }),
        row.emptied_at && say("cans.emptied-on", { day: day(row.emptied_at) }),
      ].filter(Boolean).join(" · "));
      // One thing that is usually done next; what is rarer is behind "More".
      show(stirred, row.part === "ink" && row.state !== "empty" && row.state !== "new");
      show(opened, row.state === "new");
      show(back, row.state === "empty");
      for (const b of all) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
  };
}
