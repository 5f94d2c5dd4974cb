// The lights as devices: whether each lamp confirms the state that it was sent.
import { line, listPanel } from "./line.js";
import { h, keyed, show } from "../lib/dom.js";
import { age, secondsUntil } from "../lib/format.js";
import { meaningWords } from "../lib/signs.js";
import { say } from "../lib/words.js";

/** @type {Record<string, import("./condition.js").Standing>} */
const stands = { confirmed: "fine", waiting: "unknown", silent: "bad" };
/** @type {Record<string, string>} */
const words = { confirmed: say("devices.lamp-confirmed"), waiting: say("devices.lamp-waiting"), silent: say("devices.lamp-silent") };

/**
 * lampState returns the state of a light's lamp. Of a lamp that does not report back nothing is known.
 * @param {API.LightView} row
 * @returns {import("./condition.js").State}
 */
export function lampState(row) {
  if (!row.confirmation) return { stands: "out", words: say("devices.lamp-mute") };
  return { stands: stands[row.confirmation] ?? "unknown", words: words[row.confirmation] ?? row.confirmation };
}

/**
 * lampsPanel shows them.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function lampsPanel(element, { store }) {
  const { list, none } = listPanel(element, say("devices.lights"), say("devices.no-lights"));
  element.append(h("p", { class: "aid", text: say("care.aid") }));
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
  const confirmed = row.confirmed_at && say("devices.lamp-last", { age: age(-secondsUntil(Date.parse(row.confirmed_at), now)) });
  return {
    id: row.id, ...lampState(row),
    reading: say(row.flashing ? "devices.lamp-told-flashing" : "devices.lamp-told", { meaning: meaningWords(row.meaning, row.cause) }),
    facts: [row.says && say("devices.lamp-says", { meaning: meaningWords(row.says) }), row.confirmation && (confirmed || say("devices.lamp-never"))],
  };
}
