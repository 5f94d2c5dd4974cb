// The lines of the wall as they are drawn: as large as their number and the screen let them be, and
// on pages that turn by themselves when there are too many.
import { countAlarms, gravest } from "../parts/alarms.js";
import { outOfContact } from "../lib/contact.js";
import { timeOfDay } from "../lib/dates.js";
import { h, keyed, setText, show } from "../lib/dom.js";
import { sign } from "../lib/signs.js";
import { say } from "../lib/words.js";
import { linesOf, nextMix, verdict } from "./rows.js";

const rowsAtOnce = 8; // what takes more rows than these is shown on pages that turn
const nameRoom = 4.4; // em for a name beside the longest verdict: about eight letters of an id
const notesUpTo = 4; // presses whose ink and reason have room
const [shortAlarms, longAlarms] = [40, 80]; // letters that stand on two lines and on three
const turnMs = 12_000; // how long a page stays

/**
 * wallPanel draws them into an element, under a line with the time and the number of alarms. Keys turn
 * the pages too: the arrows, and the space bar stops and starts the turning.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function wallPanel(element, { store }) {
  const time = h("span");
  const number = h("span", { class: "wall-page-number" });
  const alarms = h("span", { class: "wall-alarms" });
  const list = h("ol", { class: "wall-lines" });
  const none = h("p", { class: "quiet", text: say("wall.no-presses") });
  const wall = h("div", { class: "wall" },
    h("p", { class: "wall-head" }, h("span", { class: "wall-clock" }, time, number), alarms, h("span", { text: say("wall.mix-next") })), list);
  element.append(none, wall);
  const turning = pages();
  const fit = fitter(wall, element);
  const wide = measure(wall);
  return {
    /**
     * @param {number} now
     * @param {boolean} contact
     */
    update(now, contact) {
      const lines = linesOf(store.all("presses"), store.all("batches"));
      const alarmRows = store.all("alarms");
      const open = countAlarms(alarmRows);
      setText(time, store.clock.known ? timeOfDay(now) : "");
      const named = contact && !outOfContact() && open > 0 ? say("wall.alarms", { n: open, gravest: gravest(alarmRows, store) }) : "";
      setText(alarms, named || (contact && outOfContact() ? say("wall.no-contact") : ""));
      alarms.dataset.length = !named ? "none" : named.length <= shortAlarms ? "short" : named.length <= longAlarms ? "long" : "longest";
      show(wall, lines.length > 0);
      show(none, lines.length === 0 && store.loaded.has("presses"));
      const rows = wide(lines.map((line) => line.press.id)) > nameRoom ? 2 : 1;
      const atOnce = rowsAtOnce / rows;
      const count = Math.max(1, Math.ceil(lines.length / atOnce));
      const at = turning.page(count);
      setText(number, `${at + 1} / ${count}`);
      show(number, count > 1);
      const shown = lines.slice(at * atOnce, (at + 1) * atOnce);
      for (const part of keyed(list, shown, (line) => line.press.id, wallLine)) part.draw(now, contact);
      wall.dataset.rows = String(rows); // a name that is wider has a row of its own
      // A last page that is not full has lines as large as the others.
      fit((contact ? 1 : smallHead) + (count > 1 ? rowsAtOnce : rows * shown.length), lines.length <= notesUpTo / rows);
    },
  };
}

/**
 * measure returns a function that tells how wide the longest of some texts is in the letters of an element, in em.
 * @param {HTMLElement} element
 */
function measure(element) {
  const pen = /** @type {CanvasRenderingContext2D} */ (document.createElement("canvas").getContext("2d"));
  const em = 100;
  return (/** @type {string[]} */ texts) => {
    pen.font = `${em}px ${getComputedStyle(element).fontFamily}`;
    return Math.max(...texts.map((text) => pen.measureText(text).width / em));
  };
}

// pages tells which page is shown.
function pages() {
  let moved = 0;
  let since = performance.now();
  let stopped = false;
  const turned = () => (stopped ? 0 : Math.floor((performance.now() - since) / turnMs));
  const settle = (/** @type {number} */ by) => {
    moved += turned() + by;
    since = performance.now();
  };
  document.addEventListener("keydown", (event) => {
    if (event.key === "ArrowRight") settle(1);
    else if (event.key === "ArrowLeft") settle(-1);
    else if (event.key === " ") {
      settle(0);
      stopped = !stopped;
    } else return;
    event.preventDefault();
  });
  return { page: (/** @type {number} */ count) => (((moved + turned()) % count) + count) % count };
}

function wallLine() {
  const shape = h("span", { class: "lamp-shape" });
  const lamp = h("span", { class: "lamp wall-lamp" }, shape);
  const name = h("h2", { class: "wall-name" });
  const words = h("span", { class: "wall-verdict" });
  const day = h("span", { class: "wall-day" });
  const at = h("span");
  const next = h("span", { class: "wall-next" }, day, at);
  const unseen = h("span", { class: "unseen" });
  const note = h("span", { class: "wall-note" });
  const element = h("li", { class: "wall-line" }, lamp, name, words, h("span", { class: "wall-when" }, unseen, next), note);
  /** @type {import("./rows.js").Line} */
  let line;
  let drawn = "";
  return {
    element,
    update(/** @type {import("./rows.js").Line} */ given) {
      line = given;
      setText(name, line.press.id);
    },
    /**
     * @param {number} now
     * @param {boolean} contact
     */
    draw(now, contact) {
      const meaning = contact ? line.press.meaning : "unknown";
      if (drawn !== meaning) shape.replaceChildren(sign((drawn = meaning)));
      lamp.dataset.flashing = String(contact && line.press.flashing);
      element.dataset.meaning = meaning;
      setText(words, verdict(line, now, contact));
      setText(note, contact ? [line.batch?.ink, line.press.reason].filter(Boolean).join(" · ") : "");
      const mix = nextMix(line, now, contact);
      const [when, weekday = ""] = mix.words.split("\u00a0").reverse();
      setText(day, weekday && `${weekday}\u00a0`);
      setText(at, when ?? "");
      next.dataset.large = String(Boolean(mix.large));
      next.dataset.due = String(Boolean(mix.due));
      next.dataset.struck = String(Boolean(mix.struck));
      setText(unseen, mix.struck ? say("wall.next-not-sure") : say("wall.next"));
    },
  };
}

const lineHeight = 1.06;
const smallHead = 0.7; // lines of the head while the banner says that there is no contact

// A screen that is as wide as so many letters is read at 4 m when it is 32 inches: a capital of 0.71
// letters then has 22 minutes of arc.
const lettersAcross = 19.6;

// How much larger the times of the next mix are than the rest, where there is room for it.
const largest = [1.35, 1.2, 1.1];

/**
 * fitter returns a function that makes the text of a list as large as so many lines of it may be in
 * an element. The times of the next mix are the larger ones, as far as all can be read then. Notes are shown where
 * they leave every line on the screen.
 * @param {HTMLElement} list
 * @param {HTMLElement} element
 */
function fitter(list, element) {
  let fitted = "";
  const trial = 100;
  const widthAt = (/** @type {number} */ factor) => {
    list.style.setProperty("--larger", String(factor));
    return list.offsetWidth / trial;
  };
  return (/** @type {number} */ lines, /** @type {boolean} */ notes) => {
    const key = JSON.stringify([innerWidth, element.clientWidth, element.clientHeight, lines, notes, list.textContent]);
    if (fitted === key || lines === 0) return;
    Object.assign(list.dataset, { tight: "false", notes: String(notes) });
    Object.assign(list.style, { fontSize: `${trial}px`, width: "max-content" });
    const byHeight = element.clientHeight / lines / lineHeight;
    const sizeAt = (/** @type {number} */ factor) => Math.min(byHeight, element.clientWidth / widthAt(factor));
    const pitch = element.clientHeight / lines;
    const factor = largest.find((one) => sizeAt(one) >= innerWidth / lettersAcross && one * sizeAt(one) <= 1.15 * pitch) ?? 1;
    const natural = widthAt(factor);
    const size = sizeAt(factor);
    Object.assign(list.style, { width: "", fontSize: `${size}px` });
    // Words that are too long even so, as another language has them, take two rows of smaller letters.
    list.dataset.tight = String(natural * size > element.clientWidth + 1);
    if (list.scrollHeight > list.clientHeight + 1) list.dataset.notes = "false";
    fitted = key;
  };
}
