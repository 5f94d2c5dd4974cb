// Dates and times of things that may be long past.

const months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
/** @param {number} n */
const two = (n) => String(n).padStart(2, "0");

/**
 * day writes the local day of an instant: "12 Jun 2026".
 * @param {string | number} at
 */
export function day(at) {
  const d = new Date(at);
  return `${d.getDate()}\u00a0${months[d.getMonth()]}\u00a0${d.getFullYear()}`;
}

/**
 * timeOfDay writes the local time of an instant: "08:05".
 * @param {string | number} at
 */
export function timeOfDay(at) {
  const d = new Date(at);
  return `${two(d.getHours())}:${two(d.getMinutes())}`;
}

/**
 * dayTime writes both: "12 Jun 2026, 08:05".
 * @param {string | number} at
 */
export const dayTime = (at) => `${day(at)}, ${timeOfDay(at)}`;

/**
 * dateInWords writes a date without a time, 2026-06-12, as day does.
 * @param {string} date
 */
export const dateInWords = (date) => day(`${date}T00:00`);

/**
 * isoDay writes the local day as fields of dates take it: "2026-06-12".
 * @param {string | number} at
 */
export function isoDay(at) {
  const d = new Date(at);
  return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`;
}
