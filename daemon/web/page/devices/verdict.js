// Whether the readings can be trusted, and what the answer depends on beside the instruments: the air
// of each zone, the journal, the broker, the clock.
import { h, keyed, setText, show } from "../lib/dom.js";
import { age, degrees, clockTime, percent, secondsUntil } from "../lib/format.js";
import { sign } from "../lib/signs.js";
import { say } from "../lib/words.js";
import { countAlarms } from "../parts/alarms.js";
import { dependencies, judge, zoneState } from "./condition.js";
import { line, listPanel, signs, textItem } from "./line.js";

/** @typedef {import("./readiness.js").Check} Check */

/**
 * verdictPanel answers the page's question, and lists what is against it.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function verdictPanel(element, { store }) {
  const shape = h("span", { class: "device-sign" });
  const words = h("h2", { class: "verdict-words", "aria-live": "polite" });
  const about = h("p", { class: "verdict-about" });
  const list = h("ul", { class: "verdict-list" });
  element.append(h("div", { class: "verdict" }, shape, h("div", {}, words, about)), list);
  let drawn = "";
  return {
    /**
     * @param {number} now
     * @param {boolean} contact
     * @param {Check[] | null} checks
     */
    update(now, contact, checks) {
      const verdict = judge(store, now, contact, checks);
      if (drawn !== verdict.stands) shape.replaceChildren(sign(signs[verdict.stands]));
      drawn = verdict.stands;
      element.dataset.stands = verdict.stands;
      setText(words, verdict.words);
      const open = countAlarms(store.all("alarms"));
      setText(about, [say("devices.verdict-about"), contact && open > 0 && say("devices.verdict-alarms", { n: open })].filter(Boolean).join(" "));
      keyed(list, verdict.against, (text) => text, textItem);
    },
  };
}

/**
 * zonesPanel shows the air of each zone.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function zonesPanel(element, { store }) {
  const { list, none } = listPanel(element, say("devices.air-by-zone"), say("devices.no-air"));
  return {
    update(/** @type {number} */ now) {
      const rows = store.all("air").sort((a, b) => a.zone.localeCompare(b.zone));
      show(none, rows.length === 0 && store.loaded.has("air"));
      for (const part of keyed(list, rows, (row) => row.zone, zone)) part.tick(now);
    },
  };
}

function zone() {
  const part = line(null);
  /** @type {API.AirView} */
  let row;
  return {
    element: part.element,
    update(/** @type {API.AirView} */ next) {
      row = next;
    },
    tick(/** @type {number} */ now) {
      const known = row.temperature_c !== undefined;
      part.draw({
        id: row.zone, ...zoneState(row),
        reading: known ? say("devices.air", { temperature: degrees(row.temperature_c), humidity: percent(row.humidity_pct, 1), dew: degrees(row.dew_point_c) }) : say("devices.never-read"),
        facts: [
          known && readBy(row, age(-secondsUntil(Date.parse(row.time ?? ""), now))),
          ...(row.left_out ?? []).map((l) => say("left-out.line", { sensor: l.sensor, why: leftOutWords[l.why] })),
        ],
      });
    },
  };
}

/**
 * @param {API.AirView} row
 * @param {string} ago
 */
const readBy = (row, ago) => (row.sensors?.length ? say("devices.read-by", { age: ago, sensor: row.sensors.join(", ") }) : say("devices.read", { age: ago }));

/** @type {Record<API.LeftOut["why"], string>} */
const leftOutWords = {
  "differs": say("left-out.differs"),
  "stale": say("left-out.stale"),
  "stuck": say("left-out.stuck"),
  "drifts": say("left-out.drifts"),
  "implausible": say("left-out.implausible"),
  "check-failed": say("left-out.check-failed"),
  "out-of-service": say("left-out.out-of-service"),
  "waiting": say("left-out.waiting"),
};

/**
 * dependenciesPanel shows journal, broker and clock.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function dependenciesPanel(element, { store }) {
  const { list, none } = listPanel(element, say("devices.system"), "");
  show(none, false);
  const time = h("p", { class: "quiet" });
  element.append(time);
  return {
    /**
     * @param {number} now
     * @param {Check[] | null} checks
     */
    update(now, checks) {
      keyed(list, dependencies(store, checks), (row) => row.id, () => {
        const part = line(null);
        return { element: part.element, update: part.draw };
      });
      show(time, store.clock.known);
      setText(time, say("devices.time", { time: clockTime(now, now) }));
    },
  };
}
