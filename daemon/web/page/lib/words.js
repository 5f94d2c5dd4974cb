// Texts for people, from the catalogue of the shop's language. Package daemon/words says how to
// add one.
import catalogue from "./texts.js";

/** @type {Record<string, string | Record<string, string>>} */
const texts = catalogue.texts;
const rules = new Intl.PluralRules(catalogue.language);

/** How the shop writes: its language, its time zone (empty when not known), and °F instead of °C. */
export const locale = { language: catalogue.language, timeZone: catalogue.timeZone, fahrenheit: catalogue.fahrenheit };

/**
 * say returns the text of a key, with the values in place of its placeholders.
 * @template {Words.Key} K
 * @param {K} key
 * @param {Words.Arguments<K>} values
 */
export function say(key, ...values) {
  /** @type {Record<string, Words.Value>} */
  const given = values[0] ?? {};
  let text = texts[key];
  if (text === undefined) return key;
  if (typeof text !== "string") text = text[rules.select(Number(given.n))] ?? text.other;
  return text.replace(/\{([a-z][a-z0-9_]*)\}/g, (found, name) => String(given[name] ?? found));
}
