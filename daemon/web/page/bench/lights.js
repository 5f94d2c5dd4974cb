// The presses' lights: word, shape and colour.
import { change } from "../lib/api.js";
import { button, h, keyed, setText, setWords, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { say } from "../lib/words.js";
import { meaningWords, sign } from "../lib/signs.js";

/**
 * lightsPanel shows the lights.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 */
export function lightsPanel(element, tools) {
  const { store } = tools;
  const list = h("ul", { class: "lights" });
  const none = h("p", { class: "quiet", text: say("devices.no-lights") });
  const refusal = refusalLine();
  element.append(h("h2", { text: say("devices.lights") }), list, none, h("p", { class: "aid", text: say("care.aid") }), refusal);
  return {
    // Without contact nothing is known of any light, and none may look in order.
    update(/** @type {boolean} */ contact) {
      const rows = store.all("lights").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("lights"));
      for (const part of keyed(list, rows, (row) => row.id, () => lightItem(tools, refusal))) part.draw(contact);
    },
  };
}

/**
 * @param {Page.Tools} tools
 * @param {HTMLElement} refusal
 */
function lightItem({ store, attempt }, refusal) {
  const shape = h("span", { class: "lamp-shape" });
  const name = h("span", { class: "lamp-name" });
  const word = h("strong", { class: "lamp-word" });
  const reason = h("span", { class: "lamp-reason" });
  /** @type {API.LightView} */
  let row;
  // A batch that went off is closed and has no row, so the stop that it caused is lifted here.
  const lift = button(say("use.unload"), "small", () =>
    attempt(refusal, async () => {
      await change(`batches/${row.batch}/unload`);
    }));
  const element = h("li", { class: "lamp" }, shape, h("span", { class: "lamp-text" }, name, word, reason), lift);
  let drawn = "";
  return {
    element,
    update(/** @type {API.LightView} */ next) {
      row = next;
    },
    draw(/** @type {boolean} */ contact) {
      const meaning = contact ? row.meaning : "unknown";
      const flashes = contact && row.flashing;
      element.dataset.meaning = meaning;
      element.dataset.flashing = String(flashes);
      if (drawn !== meaning) shape.replaceChildren(sign((drawn = meaning)));
      setWords(name, row.press && row.press !== row.id ? `${row.id} (${row.press})` : row.id);
      setText(word, meaningWords(meaning, contact ? row.cause : "", Date.parse(store.get("batches", row.batch)?.ends_at?.low ?? "") <= store.clock.now()));
      setWords(reason, contact ? [row.reason, row.batch && !row.reason?.includes(row.batch) && say("board.batch-is", { batch: row.batch })].filter(Boolean).join(" ") : say("board.no-contact"));
      show(lift, contact && row.meaning === "do-not-print" && Boolean(row.batch) && !store.get("batches", row.batch));
    },
  };
}
