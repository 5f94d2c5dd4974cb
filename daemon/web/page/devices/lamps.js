// The lights as devices: whether each lamp confirms what it was told to show.
import { line, listPanel } from "./devices.js";
import { keyed, show } from "../lib/dom.js";
import { age, secondsUntil } from "../lib/format.js";
import { meaningWords } from "../lib/signs.js";

const stands = { confirmed: "fine", waiting: "unknown", silent: "bad" };
const words = {
  confirmed: "Confirms what it was told",
  waiting: "Not known: it has not confirmed yet",
  silent: "Does not confirm: do not go by it",
};

// lampState says how a light's lamp stands. One that does not report back may do as it likes.
export function lampState(row) {
  if (!row.confirmation) return { stands: "out", words: "Does not report back" };
  return { stands: stands[row.confirmation] ?? "unknown", words: words[row.confirmation] ?? row.confirmation };
}

export function lampsPanel(element, { store }) {
  const { list, none } = listPanel(element, "Lights", "No light is set up.");
  return {
    update(now) {
      const rows = store.all("lights").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("lights"));
      keyed(list, rows, (row) => row.id, () => {
        const part = line(null);
        let row;
        return { element: part.element, update: (next) => (row = next), tick: (at) => part.draw(lampRow(row, at)) };
      });
      for (const part of list.keyedParts?.values() ?? []) part.tick(now);
    },
  };
}

function lampRow(row, now) {
  const confirmed = row.confirmed_at && `last confirmed ${age(-secondsUntil(Date.parse(row.confirmed_at), now))}`;
  return {
    id: row.id, ...lampState(row),
    reading: `told: ${meaningWords(row.meaning)}${row.flashing ? ", flashing" : ""}`,
    details: [row.says && `it says: ${row.says}`, row.confirmation && (confirmed || "never confirmed since the start")],
  };
}
