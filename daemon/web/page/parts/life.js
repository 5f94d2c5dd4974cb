// The picture of a life: the axis with its times of day, and a batch's bar on it.
import { parseEnds, place, ticks } from "./axis.js";
import { h, keyed, setText, show } from "../lib/dom.js";
import { clockTime, duration, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";

const tickWidth = 5.25; // rem that a tick's label needs, at the size of its own text

// axisHead is the row of times above the bars.
export function axisHead() {
  const marks = h("div", { class: "ticks", "aria-hidden": "true" });
  return {
    element: h("div", { class: "axis-head" }, h("div", { class: "axis-place" }, marks)),
    draw: (/** @type {number} */ now, /** @type {number} */ length) => drawTicks(marks, now, length),
  };
}

// axisKey says how to read the bars.
export function axisKey() {
  return h("p", { class: "axis-key" }, say("life.key"), " ",
    h("span", { class: "key-notch", "aria-hidden": "true" }), ` ${say("life.key-end")} `,
    h("span", { class: "key-next", "aria-hidden": "true" }), ` ${say("life.key-next")} `, lifeHelp());
}

// lifeHelp leads to what the band and the risk mean.
export function lifeHelp() {
  return ["band", "risk"].map((name) => h("a", { class: "key-help", href: `/help#${name}`, text: name === "band" ? say("life.about-band") : say("life.about-risk") }));
}

/**
 * @param {HTMLElement} marks
 * @param {number} now
 * @param {number} length
 */
function drawTicks(marks, now, length) {
  const most = Math.max(2, Math.floor((marks.clientWidth || 600) / (tickWidth * parseFloat(getComputedStyle(marks).fontSize))));
  const left = (/** @type {number} */ at) => `${place(at, now, length) * 100}%`;
  const rows = [{ left: left(now), text: say("life.now"), key: "now" }, ...ticks(now, length, most).map((at) => ({ left: left(at), text: clockTime(at, now), key: String(at) }))];
  keyed(marks, rows, (row) => row.key, () => {
    const label = h("span");
    const tick = h("div", { class: "tick" }, label);
    return {
      element: tick,
      update(/** @type {{ left: string, text: string, key: string }} */ row) {
        setText(label, row.text);
        tick.style.left = row.left;
        tick.dataset.now = String(row.key === "now");
      },
    };
  });
}

/**
 * lifeWords writes until when a batch is safe to plan on, which is shown large, and its expected and
 * its latest end, which are never left out. lead is what stands before the figure.
 * @param {Page.Ends} ends in ms
 * @param {number} now
 */
export function lifeWords({ low, expected, high }, now) {
  const times = { expected: clockTime(expected, now), latest: clockTime(high, now), safe: clockTime(low, now) };
  if (high <= now) return { lead: "", figure: say("format.past"), band: say("format.past-by", { duration: duration(secondsUntil(now, high)) }) };
  if (low <= now) return { lead: "", figure: say("life.may-end"), band: say("life.was-safe", times) };
  return { lead: say("life.safe-to"), figure: times.safe, band: say("life.ends", { ...times, in: duration(secondsUntil(low, now)) }) };
}

/**
 * drawLife shows until when a batch is safe, in figures and on its bar, and when the next mix must
 * begin. Only a batch on a press is followed by a mix.
 * @param {{ left: HTMLElement, spread: HTMLElement, next: HTMLElement, bar: ReturnType<typeof lifeBar> }} parts
 * @param {{ id: string, press?: string | null, ends_at?: API.SpanTime | null, next_mix_at?: string }} batch that has an end
 * @param {number} now
 * @param {number} length
 * @param {string} coming the next mix, where there is one already, see nextIs
 */
export function drawLife({ left, spread, next, bar }, batch, now, length, coming = "") {
  const ends = parseEnds(batch);
  if (!ends) return;
  const words = lifeWords(ends, now);
  if (left.childElementCount === 0) left.replaceChildren(h("small"), " ", h("span"));
  const [lead, figure] = left.children;
  setText(/** @type {HTMLElement} */ (lead), words.lead);
  setText(/** @type {HTMLElement} */ (figure), words.figure);
  setText(spread, words.band);
  const begin = batch.press && batch.next_mix_at && !coming ? Date.parse(batch.next_mix_at) : NaN;
  drawNext(next, begin, now, coming);
  bar.draw(ends, begin, now, length);
  setText(bar.words, say("life.left", { batch: batch.id, figure: [words.lead, words.figure].filter(Boolean).join(" "), band: words.band }));
}

/**
 * nextIs writes how far the mix is that comes after a batch on its press, and that it is another ink
 * where it is; empty where there is none yet. Which mix that is, the bench tells.
 * @param {Pick<import("../lib/store.js").Store, "get">} store
 * @param {{ ink: string, press?: string | null }} batch
 */
export function nextIs(store, { ink, press }) {
  const next = press && store.get("batches", store.get("presses", press)?.next_mix);
  if (!next) return "";
  const words = next.state === "mixing" ? say("life.next-mixing", { batch: next.id }) : next.state === "resting" ? say("life.next-rests", { batch: next.id }) : say("life.next-ready", { batch: next.id });
  return next.ink === ink ? words : `${words}: ${say("life.other-ink", { ink: next.ink })}`;
}

/**
 * drawNext says how far the next mix is, or when it must begin; nothing where neither is known.
 * @param {HTMLElement} element
 * @param {number} begin
 * @param {number} now
 * @param {string} coming
 */
function drawNext(element, begin, now, coming) {
  show(element, coming !== "" || Number.isFinite(begin));
  const due = coming === "" && begin <= now;
  element.dataset.due = String(due);
  if (coming !== "") return setText(element, coming);
  if (!Number.isFinite(begin)) return;
  setText(element, due ? say("life.begin-now") : say("life.next", { at: clockTime(begin, now), in: duration(secondsUntil(begin, now)) }));
}

// lifeBar is solid as far as low, fades out to high, and has a notch at the expected end.
export function lifeBar() {
  const life = h("div", { class: "life" });
  const notch = h("div", { class: "notch" });
  const next = h("div", { class: "next-mark" });
  const beyond = h("div", { class: "beyond", "aria-hidden": "true" }); // the words for those who do not see it have its time
  const words = h("span", { class: "unseen" });
  const element = h("div", { class: "life-track" }, life, notch, beyond, next, words);
  return {
    element,
    words,
    /**
     * @param {Page.Ends} ends
     * @param {number} begin of the next mix; NaN where it is not known
     * @param {number} now
     * @param {number} length
     */
    draw(ends, begin, now, length) {
      const [low, expected, high] = [ends.low, ends.expected, ends.high].map((at) => place(at, now, length));
      life.style.width = `${high * 100}%`;
      life.style.setProperty("--solid", `${high > 0 ? (low / high) * 100 : 0}%`);
      notch.style.left = `${expected * 100}%`;
      show(notch, ends.expected > now && ends.expected <= now + length);
      show(beyond, ends.high > now + length);
      setText(beyond, say("life.beyond", { at: clockTime(ends.high, now) }));
      show(next, Number.isFinite(begin) && begin <= now + length);
      if (Number.isFinite(begin)) next.style.left = `${place(begin, now, length) * 100}%`;
    },
  };
}
