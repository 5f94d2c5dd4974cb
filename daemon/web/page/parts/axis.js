// The arithmetic of the time axis, which starts now and is shared by all open batches. life.js draws
// it.
import { isoDay, startOfDay } from "../lib/dates.js";
import { secondsUntil } from "../lib/format.js";

const minute = 60_000;
const hour = 60 * minute;
const shortestAxis = 2 * hour;
const longestAxis = 24 * hour; // a longer life runs off the edge, and its bar says so

// The bar that ends first can be read when it takes so large a part of the axis. The axis then ends
// before longer lives do, as that of a slow ink beside a quick one.
const leastPart = 1 / 6;
const longBesideShort = 3 * hour; // an axis no longer than this does not follow a bar that shrinks to nothing
const steps = [10 * minute, 15 * minute, 30 * minute, hour, 2 * hour, 3 * hour, 6 * hour];

/**
 * parseEnds reads a batch's ends as ms; null before its clock runs.
 * @param {{ ends_at?: API.SpanTime | null }} batch
 * @returns {Page.Ends | null}
 */
export function parseEnds(batch) {
  if (!batch.ends_at) return null;
  return { expected: Date.parse(batch.ends_at.expected), low: Date.parse(batch.ends_at.low), high: Date.parse(batch.ends_at.high) };
}

/**
 * untilEnds returns the seconds to the ends of a batch.
 * @param {Page.Ends} ends
 * @param {number} now
 * @returns {Page.Ends}
 */
export function untilEnds(ends, now) {
  return { expected: secondsUntil(ends.expected, now), low: secondsUntil(ends.low, now), high: secondsUntil(ends.high, now) };
}

/**
 * byEarliestEnd orders batches by their earliest possible end.
 * @template {{ id: string, ends_at?: API.SpanTime | null }} B
 * @param {B[]} batches
 */
export function byEarliestEnd(batches) {
  const end = (/** @type {B} */ b) => parseEnds(b) ?? { low: Infinity, expected: Infinity };
  const compare = (/** @type {number} */ a, /** @type {number} */ b) => (a === b ? 0 : a - b);
  return [...batches].sort((a, b) => compare(end(a).low, end(b).low) || compare(end(a).expected, end(b).expected) || a.id.localeCompare(b.id));
}

/**
 * span returns the axis's length in ms: to the latest end, with a little room, or less where the bar
 * that ends first would be too short to be read. It changes by quarter hours or hours, so that it
 * does not creep.
 * @param {{ ends_at?: API.SpanTime | null }[]} batches
 * @param {number} now
 */
export function span(batches, now) {
  const lives = batches.map((b) => (parseEnds(b)?.high ?? now) - now).filter((life) => life > 0);
  const upTo = (/** @type {number} */ length, /** @type {number} */ step) => Math.ceil(length / step) * step;
  const room = upTo(Math.max(0, ...lives) * 1.04, 15 * minute);
  const readable = Math.max(longBesideShort, upTo(Math.min(...lives) / leastPart, hour));
  return Math.min(longestAxis, Math.max(shortestAxis, Math.min(room, readable)));
}

/**
 * reach returns the span that all open batches share, wherever on the page they are shown; more
 * are those of other benches.
 * @param {import("../lib/store.js").Store} store
 * @param {number} now
 * @param {{ ends_at?: API.SpanTime | null }[]} more
 */
export function sharedSpan(store, now, more = []) {
  return span([...store.all("batches"), ...more].filter((b) => b.ends_at), now);
}

/**
 * ticks returns the round times of day within the axis, at most so many.
 * @param {number} now
 * @param {number} length
 * @param {number} most
 */
export function ticks(now, length, most) {
  const step = steps.find((s) => length / s <= most) ?? steps[steps.length - 1];
  const midnight = startOfDay(isoDay(now));
  /** @type {number[]} */
  const list = [];
  // The room of a label: the first keeps clear of "now", and the last, which may carry its
  // weekday, of the edge.
  const label = (0.55 * length) / most;
  const edge = (/** @type {number} */ at) => (at >= midnight + 86_400e3 ? (0.9 * length) / most : label);
  for (let at = midnight + Math.ceil((now - midnight) / step) * step; at <= now + length; at += step) {
    if (at - now > label && now + length - at > edge(at)) list.push(at);
  }
  return list;
}

/**
 * place returns where an instant is on the axis, 0 to 1.
 * @param {number} at
 * @param {number} now
 * @param {number} length
 */
export function place(at, now, length) {
  return Math.min(1, Math.max(0, (at - now) / length));
}
