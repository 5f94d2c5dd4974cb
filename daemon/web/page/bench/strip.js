// The strip above a mix that holds the scale: the lights, the alarms, the open batches and the mixes
// that wait, as counts. Each opens what it stands for. The rest of the page is out of the way.
import { showSection } from "../lib/dialogs.js";
import { button, h, keyed, setText, show, svg } from "../lib/dom.js";
import { byId } from "../lib/live.js";
import { clockTime } from "../lib/format.js";
import { meaningWords, sign } from "../lib/signs.js";
import { soundIsOn, turnSound, whenSoundTurns } from "../lib/tones.js";
import { say } from "../lib/words.js";
import { countAlarms, orderAlarms } from "../parts/alarms.js";

const order = ["do-not-print", "unknown", "act", "soon", "in-order", "empty"];

/**
 * stripPanel makes it. waiting is the part of the page that has the mixes that wait.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 * @param {HTMLElement} waiting
 */
export function stripPanel(element, { store }, waiting) {
  const lamps = h("span", { class: "strip-lamps" });
  const word = h("span", { class: "strip-word", text: say("stage.lights") });
  const fold = (/** @type {string} */ title, /** @type {HTMLElement} */ section) => button("", "strip-item", () => showSection(title, section, back()));
  const nav = /** @type {HTMLElement} */ (document.querySelector("header nav"));
  const menu = button(say("stage.menu"), "strip-item", () => showSection(say("stage.menu"), nav, back()));
  const tones = soundButton({ short: true });
  const lights = fold(say("stage.lights"), byId("lights"));
  const alarms = fold(say("stage.alarms"), byId("alarms"));
  const batches = fold(say("stage.batches"), byId("batches"));
  const waits = fold(say("stage.waiting"), waiting);
  lights.append(lamps, word);
  element.append(menu, lights, alarms, batches, waits, tones);
  return {
    // Without contact no light is believed.
    update(/** @type {boolean} */ contact) {
      const rows = store.all("lights");
      const meaning = (/** @type {API.LightView} */ row) => (contact ? row.meaning : "unknown");
      const shown = order.map((m) => ({ meaning: m, n: rows.filter((row) => meaning(row) === m).length })).filter(({ n }) => n > 0);
      keyed(lamps, shown, (c) => c.meaning, (c) => {
        const n = h("span");
        const means = h("span", { class: "unseen", text: ` ${meaningWords(c.meaning)} ` });
        return { element: h("span", { class: "strip-lamp" }, h("span", { class: "strip-sign" }, sign(c.meaning)), n, means), update: (row) => setText(n, String(row.n)) };
      });
      show(lights, rows.length > 0);
      // It counts what it opens, those that somebody has acknowledged too; the frame tells that one waits for that.
      const rung = store.all("alarms");
      alarms.dataset.open = String(countAlarms(rung) > 0);
      setText(alarms, say("stage.n-alarms", { n: orderAlarms(rung).shown.length }));
      const lives = store.all("batches").filter((b) => b.ends_at).length;
      show(batches, lives > 0);
      setText(batches, say("stage.n-batches", { n: lives }));
      const n = Number(waiting.dataset.count ?? 0);
      show(waits, n > 0);
      setText(waits, say("stage.n-waiting", { n }));
    },
  };
}

/**
 * soundButton turns the tones of this device on or off.
 * @param {{ short?: boolean }} options short: the sign alone, for the strip
 */
export function soundButton({ short = false } = {}) {
  const words = h("span", short ? { class: "unseen", text: say("stage.sound") } : {});
  const b = button("", short ? "strip-item sound" : "big sound", () => turnSound(!soundIsOn()));
  b.append(sound(), words);
  const draw = () => {
    if (!short) setText(words, say(soundIsOn() ? "stage.sound-on" : "stage.sound-off"));
    else b.setAttribute("aria-pressed", String(soundIsOn()));
    b.dataset.on = String(soundIsOn());
  };
  whenSoundTurns(draw);
  draw();
  return b;
}

// sound draws a loudspeaker; its waves are seen where the tones are on, a cross where they are off.
const sound = () => svg("svg", { viewBox: "0 0 24 24", class: "sound-sign", "aria-hidden": "true" },
  svg("path", { d: "M3 9h4l6-5v16l-6-5H3z", fill: "currentColor" }),
  svg("path", { class: "sound-waves", d: "M16 8a6 6 0 0 1 0 8M18.5 5a10 10 0 0 1 0 14", fill: "none", stroke: "currentColor", "stroke-width": 2 }),
  svg("path", { class: "sound-cross", d: "M16 9l6 6M22 9l-6 6", fill: "none", stroke: "currentColor", "stroke-width": 2 }));

// back is the word that leads from a part of the page to what is in front.
const back = () => say(document.querySelector("#bench .stage")?.checkVisibility() ? "stage.back" : "dialog.back");

/**
 * drawClock shows the time of day at the bench.
 * @param {HTMLElement} element
 * @param {number} now
 */
export const drawClock = (element, now) => setText(element, clockTime(now, now));
