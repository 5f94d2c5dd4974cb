// The lights as devices: whether each lamp confirms the state that it was sent.
import { line, listPanel } from "./line.js";
import { keyed, show } from "../lib/dom.js";
import { age, secondsUntil } from "../lib/format.js";
import { meaningWords } from "../lib/signs.js";

/** @type {Record<string, import("./condition.js").Standing>} */
const stands = { confirmed: "fine", waiting: "unknown", silent: "bad" };
/** @type {Record<string, string>} */
const words = {
  confirmed: "Confirms what it was told",
  waiting: "Not known: it has not confirmed yet",
  silent: "Does not confirm: do not go by it",
};

/**
 * lampState returns the state of a light's lamp. Of a lamp that does not report back nothing is known.
 * @param {API.LightView} row
 * @returns {import("./condition.js").State}
 */
export function lampState(row) {
  if (!row.confirmation) return { stands: "out", words: "Does not report back" };
  return { stands: stands[row.confirmation] ?? "unknown", words: words[row.confirmation] ?? row.confirmation };
}

/**
 * lampsPanel shows them.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function lampsPanel(element, { store }) {
  const { list, none } = listPanel(element, "Lights", "No light is set up.");
  let nowDrawn = 0;
  return {
    update(/** @type {number} */ now) {
      nowDrawn = now;
      const rows = store.all("lights").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("lights"));
      keyed(list, rows, (row) => row.id, () => {
        const part = line(null);
        return { element: part.element, update: (row) => part.draw(lampRow(row, nowDrawn)) };
      });
    },
  };
}

/**
 * @param {API.LightView} row
 * @param {number} now
 */
function lampRow(row, now) {
  const confirmed = row.confirmed_at && `last confirmed ${age(-secondsUntil(Date.parse(row.confirmed_at), now))}`;
  return {
    id: row.id, ...lampState(row),
    reading: `told: ${meaningWords(row.meaning, row.cause)}${row.flashing ? ", flashing" : ""}`,
    facts: [row.says && `it says: ${row.says}`, row.confirmation && (confirmed || "never confirmed since the start")],
  };
}
