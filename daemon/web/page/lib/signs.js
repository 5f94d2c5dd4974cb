// The drawn signs. Each meaning has a shape of its own, so that colour is never its only
// carrier.
import { svg } from "./dom.js";
import { say } from "./words.js";

/** @param {string} d */
const mark = (d) => svg("path", { class: "mark", d });

/** @type {Record<string, () => SVGElement[]>} */
const shapes = {
  // An octagon with a bar: stop.
  "do-not-print": () => [svg("path", { class: "body", d: "M15 3h18l12 12v18L33 45H15L3 33V15z" }), mark("M13 24h22")],
  // A diamond with a question mark.
  unknown: () => [
    svg("path", { class: "body", d: "M24 2l22 22-22 22L2 24z" }),
    mark("M18.5 19.5a5.5 5.5 0 1 1 8 5c-2 1-2.5 2-2.5 4M24 33.5v.5"),
  ],
  // A square with an arrow: somebody has to do something.
  act: () => [svg("path", { class: "body", d: "M5 5h38v38H5z" }), mark("M14 24h19M25 15l9 9-9 9")],
  // A triangle with an exclamation mark.
  soon: () => [svg("path", { class: "body", d: "M24 4l21 38H3z" }), mark("M24 18v11M24 35v.5")],
  // A disc with a tick.
  "in-order": () => [svg("circle", { class: "body", cx: 24, cy: 24, r: 20 }), mark("M15 25l6 6 12-13")],
  // A ring with nothing in it.
  empty: () => [svg("circle", { class: "body", cx: 24, cy: 24, r: 18 })],
};

/** @type {Record<string, string>} */
const colours = { "do-not-print": "red", unknown: "yellow", act: "blue", soon: "yellow", "in-order": "green", empty: "white" };

/**
 * sign draws a meaning; one that is not known to this page is drawn as unknown.
 * @param {string} meaning
 */
export function sign(meaning) {
  const known = shapes[meaning] ? meaning : "unknown";
  return svg("svg", { class: `sign ${colours[known]}`, viewBox: "0 0 48 48", "aria-hidden": "true" }, shapes[known]());
}

/** @type {Record<string, Words.Key>} */
const words = {
  "do-not-print": "meaning.do-not-print", unknown: "meaning.unknown", act: "meaning.act", soon: "meaning.soon",
  "in-order": "meaning.in-order", empty: "meaning.empty",
};

/**
 * The causes that ask for another act than their meaning's words say.
 * @type {Record<string, Words.Key>}
 */
const causeWords = {
  "age-uncertain": "cause.age-uncertain", "mix-ready": "cause.mix-ready", "older-part-gone-off": "cause.older-part-gone-off",
  "printing-without-batch": "cause.printing-without-batch",
};

/**
 * meaningWords returns the words for a light's meaning, with its cause where that is known. past tells
 * whether the earliest end of the ink has passed: what may end now does not end soon.
 * @param {string} meaning
 * @param {string} [cause]
 * @param {boolean} [past]
 */
export function meaningWords(meaning, cause = "", past = false) {
  const word = words[meaning];
  if (past && meaning === "soon" && !causeWords[cause]) return say("meaning.soon-past");
  return say(word ? causeWords[cause] ?? word : "meaning.unknown");
}

/**
 * The states of a pour: a plain arrow down, a double one, a tick in a disc, a bar with an arrow up.
 * @type {Record<string, () => SVGElement[]>}
 */
const pours = {
  none: () => [],
  below: () => [mark("M24 8v30M12 27l12 12 12-12")],
  near: () => [svg("path", { class: "body", d: "M5 5h38v38H5z" }), mark("M15 16l9 8 9-8M15 27l9 8 9-8")],
  at: shapes["in-order"],
  over: shapes.soon,
};

/** @type {Record<string, string>} */
const pourColours = { near: "blue", at: "green", over: "yellow" };

/**
 * pourSign draws the state of a pour.
 * @param {string} state
 */
export function pourSign(state) {
  return svg("svg", { class: `sign ${pourColours[state] ?? "plain"}`, viewBox: "0 0 48 48", "aria-hidden": "true" }, (pours[state] ?? pours.none)());
}
