// What to do while nothing has come from a scale yet: in a new shop, or with the wrong port.
import { h, setText, show } from "../lib/dom.js";

// neverHeard tells whether no line has come from a scale since the service started.
export const neverHeard = (/** @type {API.ScaleView | undefined} */ scale) => scale !== undefined && !scale.time && scale.quality !== "good";

// welcomePanel makes it. It takes the place of the weight until there is one.
export function welcomePanel() {
  const head = h("h2", { class: "mix-head" });
  const raw = h("p", { class: "welcome-raw" });
  const code = (/** @type {string} */ text) => h("code", { text });
  const element = h("section", { class: "welcome", "aria-label": "Connect the scale" }, head,
    h("ol", { class: "welcome-steps" },
      h("li", {}, "Plug the scale’s cable into the computer that potlifed runs on, and switch the scale on."),
      h("li", {}, "On that computer, look for its port: ", code("ls /dev/serial/by-id")),
      h("li", {}, "See what it sends: ", code("potlifed listen --port /dev/serial/by-id/NAME"), " If the port is in use, stop the service meanwhile."),
      h("li", {}, "If the configuration names another port, change it and start the service again.")),
    h("p", { class: "quiet" }, "The weight appears here by itself. ", h("a", { class: "welcome-link", href: "/devices", text: "All devices" })),
    h("details", {}, h("summary", { text: "Details" }), raw));
  return {
    element,
    update(/** @type {API.ScaleView | undefined} */ scale) {
      setText(head, `Welcome. Nothing has come from ${scale?.id ?? "the scale"} yet`);
      setText(raw, scale?.detail ?? scale?.why ?? "");
      show(element, neverHeard(scale));
    },
  };
}

/**
 * waitsFor says why a mix cannot be started on a scale; an empty text when it can.
 * @param {API.ScaleView | undefined} scale
 */
export function waitsFor(scale) {
  if (!scale) return "";
  if (neverHeard(scale)) return `Start waits for ${scale.id}: nothing has come from it yet.`;
  return scale.quality === "bad" ? `Start waits for ${scale.id}: it shows no weight at the moment.` : "";
}

/**
 * airUnknown says that the life of a mix would be a guess; an empty text when some air is measured.
 * @param {API.AirView[]} air
 */
export function airUnknown(air) {
  return air.length > 0 && air.every((row) => row.temperature_c === undefined || row.quality === "bad") ? "No sensor gives the air at the moment: until one does, the pot life is computed for assumed air." : "";
}
