// The lines of the wall: one a press, and what each says. Nothing on it is to be pressed, and times
// are times of day, which stay true while nobody looks.
import { clockTime } from "../lib/dates.js";
import { meaningWords } from "../lib/signs.js";
import { say } from "../lib/words.js";

/**
 * A line: its press, the batch on it, and the mix that comes next on it, as the bench tells.
 * @typedef {{ press: API.PressView, batch?: API.BatchView, coming?: API.BatchView }} Line
 */

/**
 * linesOf returns the lines in the order in which their next mix must begin. A press that somebody
 * must see to now comes first; one whose next mix is not known comes after the known ones, and
 * an empty press last.
 * @param {API.PressView[]} presses
 * @param {API.BatchView[]} batches
 * @returns {Line[]}
 */
export function linesOf(presses, batches) {
  const lines = presses.map((press) => ({
    press, batch: batches.find((b) => b.press === press.id),
    coming: batches.find((b) => b.id === press.next_mix),
  }));
  const begin = (/** @type {Line} */ line) => {
    if (["do-not-print", "act"].includes(line.press.meaning)) return -Infinity;
    const at = Date.parse(line.batch?.next_mix_at ?? "");
    if (Number.isFinite(at)) return at;
    return line.press.meaning === "empty" ? Infinity : Number.MAX_VALUE;
  };
  const compare = (/** @type {number} */ a, /** @type {number} */ b) => (a === b ? 0 : a - b);
  return lines.sort((a, b) => compare(begin(a), begin(b)) || a.press.id.localeCompare(b.press.id, undefined, { numeric: true }));
}

/**
 * verdict writes whether a press may print: how long it is safe to, or what its light says.
 * @param {Line} line
 * @param {number} now
 * @param {boolean} contact
 */
export function verdict({ press, batch }, now, contact) {
  if (!contact) return meaningWords("unknown");
  const low = Date.parse(batch?.ends_at?.low ?? "");
  const good = press.meaning === "in-order" || (press.meaning === "soon" && press.cause === "ends-soon");
  return good && low > now ? say("wall.safe", { time: clockTime(low, now) }) : press.cause === "printing-without-batch" ? say("wall.no-batch") : meaningWords(press.meaning, press.cause, low <= now);
}

/**
 * nextMix writes when the next mix must begin, and how sure that is. struck is a time that is not to
 * be relied on; large is what tells when somebody must begin. A weekday
 * stands before its time, with a space that does not break.
 * @param {Line} line
 * @param {number} now
 * @param {boolean} contact
 * @returns {{ words: string, struck?: boolean, due?: boolean, large?: boolean }}
 */
export function nextMix({ press, batch, coming }, now, contact) {
  if (!contact) return { words: "?" };
  if (coming) return { words: coming.state === "mixing" ? say("wall.mixing") : coming.state === "resting" ? say("wall.rests") : say("wall.ready") };
  const at = Date.parse(batch?.next_mix_at ?? "");
  const known = Number.isFinite(at);
  if (press.meaning === "unknown") return known ? { words: clockTime(at, now), struck: true, large: true } : { words: "?" };
  if (press.meaning === "do-not-print" && batch) return { words: say("wall.now"), due: true, large: true };
  if (!known) return { words: "–" };
  return at <= now ? { words: say("wall.now"), due: true, large: true } : { words: clockTime(at, now), large: true };
}
