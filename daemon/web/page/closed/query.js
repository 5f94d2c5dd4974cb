// What is asked for: kept in the page's address, and sent to the bench.
import { startOfDay } from "../lib/dates.js";

/**
 * What the person looks for; an empty text is any.
 * @typedef {{ day: string, press: string, ink: string, outcome: string, search: string }} Wanted
 */

/** @type {(keyof Wanted)[]} */
export const names = ["day", "press", "ink", "outcome", "search"];

/**
 * wantedOf reads what is asked for from the query of the page's address. A day that is no date is
 * left out.
 * @param {string} query
 * @returns {Wanted}
 */
export function wantedOf(query) {
  const given = new URLSearchParams(query);
  const text = (/** @type {string} */ name) => given.get(name) ?? "";
  const day = text("day");
  return { day: span(day) ? day : "", press: text("press"), ink: text("ink"), outcome: text("outcome"), search: text("search") };
}

/**
 * address writes what is asked for as the query of the page's address.
 * @param {Wanted} wanted
 */
export function address(wanted) {
  const query = new URLSearchParams(names.flatMap((name) => (wanted[name] ? [[name, wanted[name]]] : []))).toString();
  return query ? `?${query}` : "";
}

/**
 * asked writes what is asked for as the API takes it.
 * @param {Wanted} wanted
 * @param {Record<string, string | number>} more
 */
export function asked(wanted, more = {}) {
  const days = span(wanted.day) ?? { from: "2000-01-02" };
  const query = { state: "closed", ...days, press: wanted.press, ink: wanted.ink, outcome: wanted.outcome, search: wanted.search, ...more };
  return `batches?${new URLSearchParams(Object.entries(query).flatMap(([name, value]) => (value === "" ? [] : [[name, String(value)]])))}`;
}

/**
 * span returns when a day of the shop begins and ends; null for what is no date.
 * @param {string} day such as 2026-06-12
 */
function span(day) {
  const from = startOfDay(day);
  if (Number.isNaN(from)) return null;
  return { from: new Date(from).toISOString(), to: new Date(startOfDay(dayBeside(day, 1))).toISOString() };
}

/**
 * dayBeside returns the date so many days after another.
 * @param {string} day
 * @param {number} days
 */
export function dayBeside(day, days) {
  const at = new Date(`${day}T12:00Z`);
  at.setUTCDate(at.getUTCDate() + days);
  return at.toISOString().slice(0, 10);
}
