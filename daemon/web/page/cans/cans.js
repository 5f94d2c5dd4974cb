// The cans, each with its state in words and its buttons.
import { changeRow } from "../lib/api.js";
import { makeDialog, openedDialog } from "./dialogs.js";
import { dateInWords, day } from "../lib/dates.js";
import { button, h, keyed, refusalLine, setText, show } from "../lib/dom.js";

/** @type {Record<string, string>} */
const states = {
  new: "Not open yet", "in-use": "In use", expired: "Past its last day",
  "expiry-not-known": "The clock is not set: look whether it is past its last day", empty: "Empty",
};

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
  const empties = h("details", {}, h("summary", { text: "Empty cans" }), gone);
  const none = h("p", { class: "quiet", text: "No can is known. Without cans nobody is asked for one; with them, each mix names its lots." });
  element.append(h("h2", { text: "Cans" }), none, list,
    h("div", { class: "actions" }, button("Add a can…", "big main", () => makeDialog(tools))), empties);
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
  const stirred = button("Stirred to the bottom", "small", () => post("stirred"));
  const opened = button("Opened…", "small", () => openedDialog(can, store));
  const empty = button("", "small", () => post("emptied", can.state === "empty" ? { undo: true } : {}));
  const where = button("What went where?", "small", () => find({ can: can.id }));
  const all = [stirred, opened, empty, where];
  return {
    element: h("li", { class: "can" }, h("div", { class: "can-text" }, h("p", { class: "can-line" }, name, what), state, stir, facts),
      h("div", { class: "can-actions" }, all), refusal),
    update(/** @type {API.CanView} */ row) {
      can = row;
      setText(name, row.id);
      setText(what, [`${row.part} ${row.material}`, row.lot && `lot ${row.lot}`, row.colour].filter(Boolean).join(", "));
      setText(state, states[row.state] ?? row.state);
      state.dataset.state = row.state;
      setText(stir, row.stir && row.state !== "empty" ? `Stir it to the bottom before you pour: ${row.stir}.` : "");
      show(stir, stir.textContent !== "");
      setText(facts, [
        row.opened_on && `opened ${dateInWords(row.opened_on)}`, row.last_day && `last day ${dateInWords(row.last_day)}`,
        row.stirred_at && `stirred ${day(row.stirred_at)}`, row.used_at && `last used ${day(row.used_at)}`, row.emptied_at && `emptied ${day(row.emptied_at)}`,
      ].filter(Boolean).join(" · "));
      setText(empty, row.state === "empty" ? "It is not empty" : "It is empty");
      show(stirred, row.part === "ink" && row.state !== "empty");
      show(opened, row.state !== "empty");
      for (const b of all) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
  };
}
