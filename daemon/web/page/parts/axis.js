// The time axis: it starts now and runs ahead, and all open batches share it. Here is its
// arithmetic; batches.js draws it.

const minute = 60_000;
const hour = 60 * minute;
const shortestAxis = 2 * hour;
const longestAxis = 24 * hour; // a longer life runs off the edge, and its bar says so
const steps = [10 * minute, 15 * minute, 30 * minute, hour, 2 * hour, 3 * hour, 6 * hour];

// parseEnds reads a batch's ends as ms; null before its clock runs.
export function parseEnds(batch) {
  if (!batch.ends_at) return null;
  return { expected: Date.parse(batch.ends_at.expected), low: Date.parse(batch.ends_at.low), high: Date.parse(batch.ends_at.high) };
}

// firstDying orders batches by the earliest end that has to be reckoned with.
export function firstDying(batches) {
  const end = (b) => parseEnds(b) ?? { low: Infinity, expected: Infinity };
  const compare = (a, b) => (a === b ? 0 : a - b);
  return [...batches].sort((a, b) => compare(end(a).low, end(b).low) || compare(end(a).expected, end(b).expected) || a.id.localeCompare(b.id));
}

// span is the axis's length in ms: to the last high, with a little room. It grows by quarter
// hours, so that it does not creep.
export function span(batches, now) {
  const last = Math.max(0, ...batches.map((b) => (parseEnds(b)?.high ?? now) - now));
  const room = Math.ceil((last * 1.04) / (15 * minute)) * 15 * minute;
  return Math.min(longestAxis, Math.max(shortestAxis, room));
}

// reach is the span that all open batches share, wherever on the page they are shown; more are
// those that are not this bench's.
export function reach(store, now, more = []) {
  return span([...store.all("batches"), ...more].filter((b) => b.ends_at), now);
}

// ticks are the round times of day within the axis, at most so many.
export function ticks(now, length, most) {
  const step = steps.find((s) => length / s <= most) ?? steps.at(-1);
  const midnight = new Date(now).setHours(0, 0, 0, 0);
  const list = [];
  // What a label needs: the first keeps clear of "now", and the last, which may carry its
  // weekday, of the edge.
  const label = (0.55 * length) / most;
  const edge = (at) => (at >= midnight + 86_400e3 ? (0.9 * length) / most : label);
  for (let at = midnight + Math.ceil((now - midnight) / step) * step; at <= now + length; at += step) {
    if (at - now > label && now + length - at > edge(at)) list.push(at);
  }
  return list;
}

// place is where an instant stands on the axis, 0 to 1.
export function place(at, now, length) {
  return Math.min(1, Math.max(0, (at - now) / length));
}
