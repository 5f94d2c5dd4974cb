// The sensors and scales, each with its last reading and how far it can be trusted.
import { changeRow } from "../lib/api.js";
import { day } from "../lib/dates.js";
import { ask, field, figure, textOf } from "../lib/dialogs.js";
import { button, h, keyed, refusalLine, show } from "../lib/dom.js";
import { age, degrees, clockTime, decimalsOf, duration, grams, percent, secondsUntil } from "../lib/format.js";
import { alarmsOf, conditionOf } from "./condition.js";
import { line, listPanel } from "./line.js";

const since = (/** @type {string} */ at, /** @type {number} */ now) => `since ${clockTime(Date.parse(at), now)}, ${duration(-secondsUntil(Date.parse(at), now))}`;

/**
 * instrumentsPanel shows them.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 */
export function instrumentsPanel(element, tools) {
  const { store } = tools;
  const { list, none } = listPanel(element, "Sensors and scales", "No instrument is set up.");
  return {
    update(/** @type {number} */ now) {
      const rows = store.all("sensors").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("sensors"));
      for (const part of keyed(list, rows, (row) => row.id, () => instrument(tools))) part.tick(now);
    },
  };
}

/** @param {Page.Tools} tools */
function instrument(tools) {
  const { store, attempt } = tools;
  const refusal = refusalLine();
  /** @type {API.SensorView} */
  let row;
  const out = button("Out of service…", "small", () => outDialog(row, tools));
  const back = button("Back into service", "small", () => attempt(refusal, () => changeRow(store, "sensors", `sensors/${row.id}/in-service`)));
  const part = line(h("div", { class: "device-actions" }, out, back, refusal));
  return {
    element: part.element,
    update(/** @type {API.SensorView} */ next) {
      row = next;
      show(out, !row.out_of_service_until);
      show(back, Boolean(row.out_of_service_until));
      for (const b of [out, back]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
    tick(/** @type {number} */ now) {
      const alarms = alarmsOf(store, row.id);
      part.draw({
        id: row.id, ...conditionOf(row, alarms, now), detail: row.text, reading: readingOf(store, row, now),
        facts: [
          Date.parse(row.since) > 0 && since(row.since, now),
          row.check_due_at && `humidity checked ${day(row.checked_at ?? "")}, next due ${day(row.check_due_at)}`,
          // The alarm says the same once it is raised.
          ...[row.check_failed, row.disagrees].filter((text) => alarms.every((a) => a.text !== text)),
          ...alarms.map((a) => `${a.name.replaceAll("-", " ")}: ${a.text}`),
        ],
      });
    },
  };
}

/**
 * readingOf writes an instrument's last reading with its age: a scale's weight, or the air of the
 * zone that it was last read for; nothing where there is none.
 * @param {import("../lib/store.js").Store} store
 * @param {API.SensorView} row
 * @param {number} now
 */
function readingOf(store, row, now) {
  const scale = store.get("scales", row.id);
  const old = (/** @type {string | undefined} */ at) => `read ${age(-secondsUntil(Date.parse(at ?? ""), now))}`;
  if (scale) {
    const weight = scale.weight_g === undefined ? "no weight" : `${grams(scale.weight_g, decimalsOf(scale.division_g))}, ${scale.stable ? "settled" : "moving"}`;
    const quality = scale.quality === "good" ? "" : `; ${[scale.quality, scale.why].filter(Boolean).join(": ")}`;
    return `${weight}, ${scale.time ? old(scale.time) : "never heard"}${quality}`;
  }
  const air = store.all("air").find((a) => a.sensor === row.id && a.temperature_c !== undefined);
  return air ? `${degrees(air.temperature_c)}, ${percent(air.humidity_pct, 1)} RH, ${old(air.time)}` : "";
}

/**
 * outDialog asks for how long an instrument is out of service, and why.
 * @param {API.SensorView} row
 * @param {Pick<Page.Tools, "store">} tools
 */
function outDialog(row, { store }) {
  ask({
    title: `Take ${row.id} out of service?`,
    lead: "While it is under maintenance its alarms are silent. What hangs on its readings is told so.",
    body: [h("div", { class: "pair" },
      field({ label: "For", unit: "hours", name: "hours", type: "number", min: 0.1, max: 720, step: "any", value: 1, required: true, inputmode: "decimal" }),
      field({ label: "Reason", name: "reason", type: "text", required: true, maxlength: 200, hint: "such as: salt test" }))],
    submitLabel: "Take it out",
    async submit(data) {
      const until = new Date(store.clock.now() + (figure(data, "hours") ?? 0) * 3600e3).toISOString();
      await changeRow(store, "sensors", `sensors/${row.id}/out-of-service`, { until, reason: textOf(data, "reason") });
    },
  });
}
