// Pairing this device with the shop's PIN, once in 30 days. A change that is refused because the
// device is not paired asks for the PIN, and is made afterwards.
import { change } from "./api.js";
import { latest, remember } from "./choices.js";
import { ask, bounceMs, field, textOf } from "./dialogs.js";
import { h } from "./dom.js";
import { tapButton } from "./touch.js";
import { say } from "./words.js";

/** @type {Promise<boolean> | null} */
let asking = null; // while the dialog is open: two changes that are refused at once ask once

// pairThisDevice asks for the PIN. It resolves to whether the device is paired now.
export function pairThisDevice() {
  asking ??= new Promise((done) => {
    let paired = false;
    const pad = pinPad();
    ask({
      title: say("pair.title"),
      lead: say("pair.lead"),
      body: h("div", { class: "pair pairing" }, pad.element,
        field({
          label: say("pair.name"), hint: say("pair.name-hint"), name: "device", type: "text", required: true, maxlength: 40, autocomplete: "off",
          value: latest("device") ?? kindOfDevice(),
        })),
      submitLabel: say("pair.allow"),
      async submit(data) {
        const device = textOf(data, "device");
        try {
          await change("session", { pin: String(data.get("pin")), device });
        } catch (error) {
          pad.clear();
          throw error;
        }
        paired = true;
        remember("device", device);
        document.dispatchEvent(new Event("paired"));
      },
      closed() {
        asking = null;
        done(paired);
      },
    });
    pad.focus();
  });
  return asking;
}

// kindOfDevice returns what a person would call this device at first sight.
function kindOfDevice() {
  if (!matchMedia("(pointer: coarse)").matches) return say("pair.computer");
  return Math.min(screen.width, screen.height) < 600 ? say("pair.phone") : say("pair.tablet");
}

// pinPad makes a field for digits that are not shown, with keys for a hand in a glove. The keys
// replace the screen's own keyboard; a real one works as well.
function pinPad() {
  const input = h("input", {
    name: "pin", type: "password", inputmode: "none", autocomplete: "off", pattern: "[0-9]*", maxlength: 64, required: true,
    title: say("pair.digits"),
  });
  const opened = performance.now();
  /**
   * @param {string} label
   * @param {(text: string) => string} edit
   * @param {string} [name] of a key whose label is a word
   */
  const key = (label, edit, name) => {
    const b = tapButton(label, name ? "key word" : "key", (event) => {
      // The second tap of a double one that opened the pad is not meant for its keys.
      if (event.detail > 0 && performance.now() - opened < bounceMs) return;
      input.value = edit(input.value).slice(0, 64);
    });
    if (name) b.setAttribute("aria-label", name);
    return b;
  };
  const digit = (/** @type {string} */ d) => key(d, (text) => text + d);
  const element = h("div", { class: "pin" },
    h("label", { class: "field" }, h("span", { text: say("pair.pin") }), input),
    h("div", { class: "keys", role: "group", "aria-label": say("pair.keys") }, [..."123456789"].map(digit),
      key(say("pair.clear"), () => "", say("pair.clear-name")), digit("0"), key(say("pair.delete"), (text) => text.slice(0, -1), say("pair.delete-name"))));
  return {
    element,
    clear() {
      input.value = "";
      input.focus();
    },
    focus: () => input.focus(),
  };
}
