// Dates and times of day as the shop writes them: in its time zone, one way on every page. The device
// that shows a page may be set to another zone.
import { locale } from "./words.js";

/** @typedef {{ year: number, month: number, day: number, hour: number, minute: number }} Fields */

/** @param {number} n */
const two = (n) => String(n).padStart(2, "0");

/**
 * calendar makes the functions for a time zone (IANA; empty is that of the device) and a language. A
 * zone that the browser does not know gives times in the zone of the device.
 * @param {string} zone
 * @param {string} language
 */
export function calendar(zone, language) {
  const timeZone = known(zone);
  const numbers = new Intl.DateTimeFormat("en", { timeZone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric" });
  // The names are asked for at noon in UTC of their day, so that no zone changes them.
  const months = new Intl.DateTimeFormat(language, { timeZone: "UTC", month: "short" });
  const weekdays = new Intl.DateTimeFormat(language, { timeZone: "UTC", weekday: "short" });

  /**
   * @param {string | number} at
   * @returns {Fields}
   */
  const fields = (at) => {
    const parts = Object.fromEntries(numbers.formatToParts(new Date(at)).map(({ type, value }) => [type, Number(value)]));
    return /** @type {any} */ (parts);
  };
  /** @param {Pick<Fields, "year" | "month" | "day">} f */
  const noon = ({ year, month, day }) => new Date(Date.UTC(year, month - 1, day, 12));
  /** @param {Fields} f */
  const dayOf = (f) => `${f.day}\u00a0${months.format(noon(f))}\u00a0${f.year}`;
  /** @param {Fields} f */
  const timeOf = (f) => `${two(f.hour)}:${two(f.minute)}`;
  /** @param {Fields} f */
  const isoOf = (f) => `${String(f.year).padStart(4, "0")}-${two(f.month)}-${two(f.day)}`;

  return {
    /**
     * day writes the day of an instant: "12 Jun 2026".
     * @param {string | number} at
     */
    day: (at) => dayOf(fields(at)),

    /**
     * timeOfDay writes the time of an instant: "08:05".
     * @param {string | number} at
     */
    timeOfDay: (at) => timeOf(fields(at)),

    /**
     * dayTime writes both: "12 Jun 2026, 08:05".
     * @param {string | number} at
     */
    dayTime(at) {
      const f = fields(at);
      return `${dayOf(f)}, ${timeOf(f)}`;
    },

    /**
     * dateInWords writes a date without a time, 2026-06-12, as day does.
     * @param {string} date
     */
    dateInWords: (date) => dayOf(ofDate(date)),

    /**
     * dayName writes such a date with its weekday: "Fri 12 Jun 2026".
     * @param {string} date
     */
    dayName(date) {
      const f = ofDate(date);
      return `${weekdays.format(noon(f))}\u00a0${dayOf(f)}`;
    },

    /**
     * month writes a month, 2026-06: "Jun 2026".
     * @param {string} month
     */
    month(month) {
      const f = ofDate(`${month}-01`);
      return `${months.format(noon(f))}\u00a0${f.year}`;
    },

    /**
     * weekday writes the weekday of an instant: "Fri".
     * @param {string | number} at
     */
    weekday: (at) => weekdays.format(noon(fields(at))),

    /**
     * isoDay writes the day of an instant as fields of dates take it: "2026-06-12".
     * @param {string | number} at
     */
    isoDay: (at) => isoOf(fields(at)),

    /**
     * clockTime writes an instant (ms) as the time of day, with the weekday when it is not the day of
     * now, and with the date when it is more than six days from it.
     * @param {number} at
     * @param {number} now
     */
    clockTime(at, now) {
      const f = fields(at);
      if (isoOf(f) === isoOf(fields(now))) return timeOf(f);
      if (Math.abs(at - now) > 6 * 86_400e3) return `${dayOf(f)}, ${timeOf(f)}`;
      return `${weekdays.format(noon(f))}\u00a0${timeOf(f)}`;
    },

    /**
     * startOfDay returns the first moment of a date, in ms; NaN for what is no date. Where the clock
     * is set forward at midnight it is that moment.
     * @param {string} date such as 2026-06-12
     */
    startOfDay(date) {
      const wanted = Date.parse(`${date}T00:00Z`);
      if (!/^\d{4}-\d\d-\d\d$/.test(date) || Number.isNaN(wanted)) return NaN;
      const ahead = (/** @type {number} */ at) => {
        const f = fields(at);
        return Date.UTC(f.year, f.month - 1, f.day, f.hour, f.minute) - at;
      };
      const first = wanted - ahead(wanted - ahead(wanted));
      return isoOf(fields(first)) === date ? first : wanted - ahead(wanted);
    },
  };
}

/**
 * known returns a zone that the browser knows; undefined for any other, which means its own.
 * @param {string} zone
 */
function known(zone) {
  try {
    if (zone) new Intl.DateTimeFormat("en", { timeZone: zone });
    return zone || undefined;
  } catch {
    return undefined;
  }
}

/**
 * @param {string} date such as 2026-06-12
 * @returns {Fields}
 */
function ofDate(date) {
  const [year = 0, month = 1, day = 1] = date.split("-").map(Number);
  return { year, month, day, hour: 0, minute: 0 };
}

export const { day, timeOfDay, dayTime, dateInWords, dayName, month, weekday, isoDay, clockTime, startOfDay } = calendar(locale.timeZone, locale.language);
