// The devices that may change something, each with the button that ends it.
import { change, get, Refused } from "../lib/api.js";
import { day } from "../lib/dates.js";
import { ask } from "../lib/dialogs.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { pairThisDevice } from "../lib/pair.js";
import { say } from "../lib/words.js";

/**
 * stateOf writes who may change something beside the devices of the list; nothing when this device
 * is one of them.
 * @param {API.SessionList} list
 */
export function stateOf({ sessions, pin_set: pinSet }) {
  if (!pinSet) return say("devices.no-pin");
  if ((sessions ?? []).some((row) => row.mine)) return "";
  return say("devices.only-reads");
}

// pairedPanel lists them. update asks for them, and parts are what goes into the page.
export function pairedPanel() {
  const words = h("p", { class: "quiet" });
  const list = h("ul", { class: "devices" });
  const pair = button(say("devices.allow"), "small", () => void pairThisDevice());
  const parts = [h("h2", { text: say("devices.allowed") }), words, list, h("div", { class: "device-actions" }, pair)];
  show(pair, false);

  async function update() {
    /** @type {API.SessionList} */
    let known;
    try {
      known = await get("sessions");
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (error.status === 0) return; // Contact is judged by the stream.
      setText(words, error.message);
      show(words, true);
      return;
    }
    const state = stateOf(known);
    setText(words, state);
    show(words, state !== "");
    show(pair, Boolean(known.pin_set) && state !== "");
    keyed(list, known.sessions ?? [], (row) => row.id, (row) => session(row, update));
  }

  document.addEventListener("paired", update);
  return { parts, update };
}

/**
 * @param {API.Session} row
 * @param {() => unknown} changed
 */
function session({ id, device, made, until }, changed) {
  const name = h("h3", { class: "device-name", text: device });
  const mine = h("p", { class: "device-words", text: say("devices.this") });
  const end = button(say("devices.revoke"), "small", () => ask({
    title: say("devices.revoke-title", { device }),
    lead: say("devices.revoke-lead"),
    submitLabel: say("devices.revoke-it"),
    danger: true,
    async submit() {
      await change(`sessions/${id}/unpair`);
      changed();
    },
  }));
  end.setAttribute("aria-label", `${say("devices.revoke")} (${device})`);
  return {
    element: h("li", { class: "device" },
      h("div", { class: "device-text" }, name, mine, h("p", { class: "device-facts", text: say("devices.allowed-until", { since: day(made), until: day(until) }) })),
      h("div", { class: "device-actions" }, end)),
    update: (/** @type {API.Session} */ row) => show(mine, row.mine),
  };
}
