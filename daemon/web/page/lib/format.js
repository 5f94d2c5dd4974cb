// Figures in words. Every figure carries its unit; an estimate carries its band.
import { locale, say } from "./words.js";

export { clockTime } from "./dates.js";

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
 * degrees writes a temperature in the shop's unit.
 * @param {number | null | undefined} value in °C
 * @param {number} [decimals]
 * @param {boolean} [fahrenheit]
 */
export function degrees(value, decimals = 1, fahrenheit = locale.fahrenheit) {
  if (value === undefined || value === null) return unknown;
  return fahrenheit ? `${number(value * 1.8 + 32, decimals)}\u00a0°F` : `${number(value, decimals)}\u00a0°C`;
}

/** degreeSign is the sign of the shop's unit of temperature. */
export const degreeSign = locale.fahrenheit ? "°F" : "°C";

/**
 * inDegrees returns a temperature in the shop's unit, to a tenth.
 * @param {number} celsius
 */
export const inDegrees = (celsius, fahrenheit = locale.fahrenheit) => (fahrenheit ? Math.round(celsius * 18 + 320) / 10 : celsius);

/**
 * inCelsius returns a temperature that was given in the shop's unit, to a hundredth.
 * @param {number} degrees
 */
export const inCelsius = (degrees, fahrenheit = locale.fahrenheit) => (fahrenheit ? Math.round(((degrees - 32) / 1.8) * 100) / 100 : degrees);

/**
 * percent writes a share of a hundred.
 * @param {number | null | undefined} value
 * @param {number} [decimals]
 */
export function percent(value, decimals = 0) {
  return value === undefined || value === null ? unknown : `${number(value, decimals)}\u00a0%`;
}

const mostSpent = 2; // beyond twice its pot life ink is long dead, and the figure tells only how long it stood

/**
 * spentWords writes which share of its pot life a batch has spent.
 * @param {number} share
 */
export const spentWords = (share) => (share > mostSpent ? `>\u00a0${percent(100 * mostSpent)}` : percent(100 * share));

/**
 * duration writes seconds as a person says them: "45 s", "1 min 3 s", "42 min", "2 h 04 min".
 * @param {number} seconds
 */
export function duration(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 60) return `${whole}\u00a0s`;
  if (whole < 120) return whole === 60 ? "1\u00a0min" : `1\u00a0min ${whole - 60}\u00a0s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return `${minutes}\u00a0min`;
  return `${Math.floor(minutes / 60)}\u00a0h ${String(minutes % 60).padStart(2, "0")}\u00a0min`;
}

/**
 * countdown writes seconds as minutes and seconds, for something short that is waited for; less than a minute is
 * written in seconds only.
 * @param {number} seconds
 */
export function countdown(seconds) {
  const s = Math.max(0, Math.ceil(seconds));
  if (s >= 3600) return duration(s);
  if (s < 60) return `${s}\u00a0s`;
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
 * band writes an interval of seconds: "between 5 h 05 and 7 h 40 min". A past instant is "now".
 * @param {number} low
 * @param {number} high
 */
export function band(low, high) {
  const [a, b] = [wholeMinutes(low), wholeMinutes(high)];
  if (b === 0) return say("format.any-moment");
  const until = b < 60 ? hoursMinutes(b) : `${hoursMinutes(b)}\u00a0min`;
  if (a === 0) return say("format.from-now", { high: until });
  return say("format.between", { low: a < 60 && b < 60 ? a : hoursMinutes(a), high: until });
}

/**
 * remaining writes an estimate of seconds to go as its expected value and its band apart, so
 * that the first can be shown larger; the second is never left out.
 * @param {Page.Ends} ends in seconds from now
 */
export function remaining({ expected, low, high }) {
  if (high <= 0) return { figure: say("format.past"), band: say("format.past-by", { duration: duration(-high) }) };
  if (expected <= 0) return { figure: say("format.about-over"), band: band(low, high) };
  const minutes = wholeMinutes(expected);
  const figure = minutes < 60 ? `${minutes}\u00a0min` : `${Math.floor(minutes / 60)}\u00a0h ${String(minutes % 60).padStart(2, "0")}\u00a0min`;
  return { figure, band: band(low, high) };
}

/**
 * age writes how old a value is.
 * @param {number} seconds
 */
export function age(seconds) {
  return seconds < 2 ? say("format.just-now") : say("format.ago", { duration: duration(seconds) });
}

/**
 * pipettes writes a mass of thinner in whole pipettes, as nobody draws a part of one.
 * @param {number} mass in g
 */
export function pipettes(mass) {
  const n = Math.round(mass / pipetteGrams);
  return n > 0 ? say("format.pipettes", { n }) : say("format.under-a-pipette");
}

/**
 * thinnerAmount writes a mass of thinner in pipettes and by weight.
 * @param {number} mass in g
 */
export const thinnerAmount = (mass) => say("format.thinner", { pipettes: pipettes(mass), mass: grams(mass) });

/**
 * secondsUntil returns the seconds between two instants given in ms.
 * @param {number} at
 * @param {number} now
 */
export function secondsUntil(at, now) {
  return (at - now) / 1000;
}

/**
 * ratioWords writes whether the ratio that was poured is right, with its tolerance and its uncertainty.
 * @param {API.RatioView | undefined} ratio
 */
export function ratioWords(ratio) {
  if (!ratio) return "";
  const figures = { ratio: `${number(ratio.ink_per_hardener, 2)}:1`, off: percent(Math.abs(ratio.off_pct), 1), known: percent(ratio.uncertainty_pct, 1), tolerance: percent(ratio.tolerance_pct) };
  if (Math.abs(ratio.off_pct) < 0.05) return say("format.ratio-exact", figures);
  if (Math.abs(ratio.off_pct) <= ratio.tolerance_pct) return ratio.off_pct > 0 ? say("format.ratio-more", figures) : say("format.ratio-less", figures);
  return ratio.off_pct > 0 ? say("format.ratio-much", figures) : say("format.ratio-little", figures);
}
