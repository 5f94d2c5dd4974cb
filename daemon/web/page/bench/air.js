// The air of each zone.
import { h, keyed, setText, show } from "../lib/dom.js";
import { age, degrees, percent, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { qualityWords } from "../parts/terms.js";

const oldAfterSeconds = 30;

/**
 * airPanel shows the air of each zone.
 * @param {HTMLElement} element
 */
export function airPanel(element) {
  element.append(h("h2", { class: "quiet", text: say("air.title") }));
  const list = h("ul", { class: "air" });
  const none = h("p", { class: "quiet", text: say("devices.no-air") });
  element.append(list, none);
  return {
    /**
     * @param {API.AirView[]} rows
     * @param {number} now
     */
    update(rows, now) {
      show(none, rows.length === 0);
      for (const part of keyed(list, [...rows].sort((a, b) => a.zone.localeCompare(b.zone)), (row) => row.zone, zone)) part.tick(now);
    },
  };
}

function zone() {
  const name = h("span", { class: "air-zone" });
  const temperature = h("span", { class: "air-figure" });
  const humidity = h("span", { class: "air-figure" });
  const dew = h("span", { class: "air-dew" });
  const old = h("span");
  const state = h("span", { class: "air-state" });
  const element = h(
    "li", {}, name,
    h("span", { class: "air-figures" }, temperature, humidity),
    h("span", { class: "air-small" }, dew, old), state,
  );
  /** @type {API.AirView} */
  let row;
  return {
    element,
    update(/** @type {API.AirView} */ next) {
      row = next;
      setText(name, row.zone);
      setText(temperature, degrees(row.temperature_c));
      setText(humidity, row.humidity_pct === undefined ? "–" : say("air.humidity", { humidity: percent(row.humidity_pct) }));
      setText(dew, row.dew_point_c === undefined ? "" : say("air.dew-point", { temperature: degrees(row.dew_point_c) }));
      element.dataset.quality = row.quality;
      setText(state, qualityWords(row));
      show(state, row.quality !== "good");
    },
    tick(/** @type {number} */ now) {
      const seconds = -secondsUntil(Date.parse(row.time ?? ""), now);
      const dated = row.temperature_c !== undefined && Number.isFinite(seconds);
      setText(old, dated && (seconds > oldAfterSeconds || row.quality !== "good") ? say("devices.read", { age: age(seconds) }) : "");
      show(old, old.textContent !== "");
    },
  };
}
