// The devices that may change something, each with the button that ends it.
import { change, get, Refused } from "../lib/api.js";
import { ask } from "../lib/dialogs.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { pairThisDevice } from "../lib/pair.js";

/** @param {string} text */
const date = (text) => new Date(text).toLocaleDateString("en-GB", { day: "numeric", month: "long" });

/**
 * stateOf writes who may change something beside the devices of the list; nothing when this device
 * is one of them.
 * @param {API.SessionList} list
 */
export function stateOf({ sessions, pin_set: pinSet }) {
  if (!pinSet) return "No PIN is set: only the bench’s own computer may make changes. Set one there with “potlifed pin” to pair others.";
  if ((sessions ?? []).some((row) => row.mine)) return "";
  return "This device only reads. It asks for the PIN with the first change.";
}

// pairedPanel lists them. update asks for them, and parts are what goes into the page.
export function pairedPanel() {
  const words = h("p", { class: "quiet" });
  const list = h("ul", { class: "devices" });
  const pair = button("Pair this device…", "small", () => void pairThisDevice());
  const parts = [h("h2", { text: "Paired devices" }), words, list, h("div", { class: "device-actions" }, pair)];
  show(pair, false);

  async function update() {
    /** @type {API.SessionList} */
    let known;
    try {
      known = await get("sessions");
    } catch (error) {
      if (!(error instanceof Refused)) return; // Contact is judged by the stream.
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
  const mine = h("p", { class: "device-words", text: "This device" });
  const end = button("Unpair…", "small", () => ask({
    title: `Unpair ${device}?`,
    lead: "It may change nothing from now on, until the PIN is entered on it again.",
    submitLabel: "Unpair it",
    danger: true,
    async submit() {
      await change(`sessions/${id}/unpair`);
      changed();
    },
  }));
  end.setAttribute("aria-label", `Unpair… (${device})`);
  return {
    element: h("li", { class: "device" },
      h("div", { class: "device-text" }, name, mine, h("p", { class: "device-facts", text: `paired on ${date(made)}, until ${date(until)}` })),
      h("div", { class: "device-actions" }, end)),
    update: (/** @type {API.Session} */ row) => show(mine, row.mine),
  };
}
