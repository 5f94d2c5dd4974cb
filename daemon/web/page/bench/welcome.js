// What to do while nothing has come from a scale yet: in a new shop, or with the wrong port.
import { h, setText, show } from "../lib/dom.js";
import { say } from "../lib/words.js";

// neverHeard tells whether no line has come from a scale since the service started.
export const neverHeard = (/** @type {API.ScaleView | undefined} */ scale) => scale !== undefined && !scale.time && scale.quality !== "good";

// welcomePanel makes it. It takes the place of the weight until there is one.
export function welcomePanel() {
  const head = h("h2", { class: "mix-head" });
  const raw = h("p", { class: "welcome-raw" });
  const code = (/** @type {string} */ text) => h("code", { text });
  const element = h("section", { class: "welcome", "aria-label": say("welcome.title") }, head,
    h("ol", { class: "welcome-steps" },
      h("li", {}, say("welcome.plug")),
      h("li", {}, say("welcome.port"), " ", code("ls /dev/serial/by-id")),
      h("li", {}, say("welcome.listen"), " ", code("potlifed listen --port /dev/serial/by-id/NAME"), " ", say("welcome.in-use")),
      h("li", {}, say("welcome.configure"))),
    h("p", { class: "quiet" }, say("welcome.by-itself"), " ", h("a", { class: "welcome-link", href: "/devices", text: say("welcome.devices") })),
    h("details", {}, h("summary", { text: say("dialog.details") }), raw));
  return {
    element,
    update(/** @type {API.ScaleView | undefined} */ scale) {
      setText(head, say("welcome.nothing", { scale: scale?.id ?? "–" }));
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
  if (neverHeard(scale)) return say("welcome.waits", { scale: scale.id });
  return scale.quality === "bad" ? say("welcome.waits-weight", { scale: scale.id }) : "";
}

/**
 * airUnknown says that the life of a mix would be a guess; an empty text when some air is measured.
 * @param {API.AirView[]} air
 */
export function airUnknown(air) {
  return air.length > 0 && air.every((row) => row.temperature_c === undefined || row.quality === "bad") ? say("welcome.no-air") : "";
}
