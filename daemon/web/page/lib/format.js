// Figures in words. Every figure carries its unit; an estimate carries its band.

export const pipetteGrams = 2; // what one pull of the usual pipette holds, g

const unknown = "–";

/**
 * decimalsOf returns how many decimals a scale of this division shows, at most three.
 * @param {number | undefined} value
 */
export function decimalsOf(value) {
  if (value === undefined) return 0;
  const text = String(Math.round(value * 1000) / 1000);
  const dot = text.indexOf(".");
  return dot < 0 ? 0 : text.length - dot - 1;
}

/**
 * number writes a figure with a true minus sign and without a negative zero.
 * @param {number} value
 * @param {number} decimals
 */
export function number(value, decimals) {
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? `\u2212${text}` : text;
}

/**
 * grams writes a mass.
 * @param {number | null | undefined} value
 * @param {number} [decimals]
 */
export function grams(value, decimals = 1) {
  return value === undefined || value === null ? unknown : `${number(value, decimals)}\u00a0g`;
}

/**
 * celsius writes a temperature.
 * @param {number | null | undefined} value
 */
export function celsius(value) {
  return value === undefined || value === null ? unknown : `${number(value, 1)}\u00a0°C`;
}

/**
 * percent writes a share of a hundred.
 * @param {number | null | undefined} value
 * @param {number} [decimals]
 */
export function percent(value, decimals = 0) {
  return value === undefined || value === null ? unknown : `${number(value, decimals)}\u00a0%`;
}

/**
 * duration writes seconds as hours and minutes, or as minutes, or below two minutes as seconds.
 * @param {number} seconds
 */
export function duration(seconds) {
  const s = Math.max(0, seconds);
  if (s < 119.5) return `${Math.round(s)}\u00a0s`;
  const minutes = Math.round(s / 60);
  if (minutes < 60) return `${minutes}\u00a0min`;
  return `${Math.floor(minutes / 60)}\u00a0h ${String(minutes % 60).padStart(2, "0")}\u00a0min`;
}

/**
 * countdown writes seconds as minutes and seconds, for something short that is waited for.
 * @param {number} seconds
 */
export function countdown(seconds) {
  const s = Math.max(0, Math.ceil(seconds));
  if (s >= 3600) return duration(s);
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}\u00a0min`;
}

/** @param {number} seconds */
function wholeMinutes(seconds) {
  return Math.max(0, Math.round(seconds / 60));
}

/** @param {number} minutes */
function hoursMinutes(minutes) {
  if (minutes < 60) return `${minutes}\u00a0min`;
  return `${Math.floor(minutes / 60)}\u00a0h\u00a0${String(minutes % 60).padStart(2, "0")}`;
}

/**
 * band writes an interval of seconds: "between 5 h 05 and 7 h 40". A past instant is "now".
 * @param {number} low
 * @param {number} high
 */
export function band(low, high) {
  const [a, b] = [wholeMinutes(low), wholeMinutes(high)];
  if (b === 0) return "any moment now";
  if (a === 0) return `between now and ${hoursMinutes(b)}`;
  if (a < 60 && b < 60) return `between ${a} and ${b}\u00a0min`;
  return `between ${hoursMinutes(a)} and ${hoursMinutes(b)}`;
}

/**
 * remaining writes an estimate of seconds to go as its expected value and its band apart, so
 * that the first can be shown larger; the second is never left out.
 * @param {Page.Ends} ends in seconds from now
 */
export function remaining({ expected, low, high }) {
  if (high <= 0) return { figure: "past its time", band: `the latest end was ${duration(-high)} ago` };
  if (expected <= 0) return { figure: "about over", band: band(low, high) };
  const minutes = wholeMinutes(expected);
  const figure = minutes < 60 ? `${minutes}\u00a0min` : `${Math.floor(minutes / 60)}\u00a0h ${String(minutes % 60).padStart(2, "0")}\u00a0min`;
  return { figure, band: band(low, high) };
}

/**
 * clockTime writes an instant (ms) as the time of day, with the weekday when it is not the day of now.
 * @param {number} at
 * @param {number} now
 */
export function clockTime(at, now) {
  const d = new Date(at);
  const time = `${String(d.getHours()).padStart(2, "0")}:${String(d.getMinutes()).padStart(2, "0")}`;
  if (new Date(now).toDateString() === d.toDateString()) return time;
  const day = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"][d.getDay()];
  return `${day} ${time}`;
}

/**
 * age writes how old a value is.
 * @param {number} seconds
 */
export function age(seconds) {
  return seconds < 2 ? "just now" : `${duration(seconds)} ago`;
}

const quarters = ["", "¼", "½", "¾"];

/**
 * pipettes writes a mass of thinner in pipettes, to a quarter of one.
 * @param {number} mass in g
 */
export function pipettes(mass) {
  const n = Math.round((mass / pipetteGrams) * 4);
  if (n <= 0) return `less than ¼ pipette of ${pipetteGrams}\u00a0g`;
  const whole = Math.floor(n / 4);
  const count = `${whole || ""}${quarters[n % 4]}`;
  return `about ${count} ${n <= 4 ? "pipette" : "pipettes"} of ${pipetteGrams}\u00a0g`;
}

/**
 * secondsUntil returns the seconds between two instants given in ms.
 * @param {number} at
 * @param {number} now
 */
export function secondsUntil(at, now) {
  return (at - now) / 1000;
}

/**
 * ratioWords writes the ratio that was poured, with its uncertainty.
 * @param {API.RatioView | undefined} ratio
 */
export function ratioWords(ratio) {
  if (!ratio) return "";
  const off = Math.abs(ratio.off_pct) < 0.05 ? "on the ratio" : `${number(Math.abs(ratio.off_pct), 1)}\u00a0% ${ratio.off_pct > 0 ? "too much" : "too little"} hardener`;
  return `Ratio ${number(ratio.ink_per_hardener, 2)}:1, ${off}, known to \u00b1\u00a0${percent(ratio.uncertainty_pct, 1)}`;
}
