// The sensors and scales, each with its last reading and how far it can be trusted.
import { changeRow } from "../lib/api.js";
import { ask, field, figure, textOf } from "../lib/dialogs.js";
import { button, h, keyed, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { age, degrees, clockTime, decimalsOf, duration, grams, percent, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { qualityWords } from "../parts/terms.js";
import { checkDialog, correctionDialog, factsOf, replacedDialog, revokeDialog } from "./checks.js";
import { alarmsOf, conditionOf, dueOf } from "./condition.js";
import { line, listPanel } from "./line.js";

const since = (/** @type {string} */ at, /** @type {number} */ now) => say("devices.since", { at: clockTime(Date.parse(at), now), for: duration(-secondsUntil(Date.parse(at), now)) });

/**
 * instrumentsPanel shows them.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 */
export function instrumentsPanel(element, tools) {
  const { store } = tools;
  const { list, none } = listPanel(element, say("devices.instruments"), say("devices.no-instruments"));
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
  const out = button(say("devices.out"), "small", () => outDialog(row, tools));
  const back = button(say("devices.back"), "small", () => attempt(refusal, () => changeRow(store, "sensors", `sensors/${row.id}/in-service`)));
  const check = button(say("check.button"), "small", () => checkDialog(row, tools));
  const correct = button(say("check.correct"), "small", () => correctionDialog(row, tools));
  const revoke = button(say("check.revoke"), "small", () => revokeDialog(row, tools));
  const replaced = button(say("check.replaced"), "small", () => replacedDialog(row, tools));
  const record = h("a", { class: "device-record", text: say("check.print") });
  const part = line(h("div", { class: "device-actions" }, check, correct, revoke, replaced, out, back, record, refusal));
  return {
    element: part.element,
    update(/** @type {API.SensorView} */ next) {
      row = next;
      show(out, !row.out_of_service_until);
      show(back, Boolean(row.out_of_service_until));
      show(correct, Boolean(row.correction_offered));
      show(revoke, Boolean(row.correction));
      const path = `/checks/${encodeURIComponent(row.id)}`;
      if (record.getAttribute("href") !== path) record.setAttribute("href", path);
      show(record, Boolean(row.scale_check || row.check_points?.length));
      for (const b of [check, correct, revoke, replaced, out, back, record]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
    tick(/** @type {number} */ now) {
      const alarms = alarmsOf(store, row.id);
      part.draw({
        id: row.id, ...conditionOf(row, alarms, now), detail: row.detail, reading: readingOf(store, row, now),
        facts: [
          row.text,
          Date.parse(row.since) > 0 && since(row.since, now),
          dueOf(row, now),
          ...factsOf(row),
          // The alarm says the same once it is raised.
          ...[row.check_failed, row.disagrees].filter((text) => alarms.every((a) => a.text !== text)),
          ...alarms.map((a) => [`${a.title}:`, a.text, a.response].filter(Boolean).join(" ")),
        ],
      });
    },
  };
}

/**
 * readingOf writes an instrument's own last reading with its age: a scale's weight, or the air that a
 * sensor read; nothing where there is none.
 * @param {import("../lib/store.js").Store} store
 * @param {API.SensorView} row
 * @param {number} now
 */
function readingOf(store, row, now) {
  const scale = store.get("scales", row.id);
  const old = (/** @type {string | undefined} */ at) => say("devices.read", { age: age(-secondsUntil(Date.parse(at ?? ""), now)) });
  if (scale) {
    const weight = { weight: grams(scale.weight_g, decimalsOf(scale.division_g)) };
    const shown = scale.weight_g === undefined ? say("devices.no-weight") : scale.quality === "bad" ? say("devices.last", weight) : scale.stable ? say("devices.settled", weight) : say("devices.moving", weight);
    return [`${shown}, ${scale.time ? old(scale.time) : say("devices.never-heard")}`, qualityWords(scale)].filter(Boolean).join("; ");
  }
  return row.read_at ? say("devices.air-read", { temperature: degrees(row.temperature_c), humidity: percent(row.humidity_pct, 1), read: old(row.read_at) }) : "";
}

/**
 * outDialog asks for how long an instrument is out of service, and why.
 * @param {API.SensorView} row
 * @param {Pick<Page.Tools, "store">} tools
 */
function outDialog(row, { store }) {
  ask({
    title: say("devices.out-title", { device: row.id }),
    lead: say("devices.out-lead"),
    body: [h("div", { class: "pair" },
      field({ label: say("devices.for"), unit: say("devices.hours"), name: "hours", type: "number", min: 0.1, max: 720, step: "any", value: 1, required: true, inputmode: "decimal" }),
      field({ label: say("dialog.reason"), name: "reason", type: "text", required: true, maxlength: 200, hint: say("devices.such-as") }))],
    submitLabel: say("devices.out-it"),
    async submit(data) {
      const until = new Date(store.clock.now() + (figure(data, "hours") ?? 0) * 3600e3).toISOString();
      await changeRow(store, "sensors", `sensors/${row.id}/out-of-service`, { until, reason: textOf(data, "reason") });
    },
  });
}
