// Checks of the instruments: a sensor over salts or against a meter, a scale with weights.
import { changeRow } from "../lib/api.js";
import { day } from "../lib/dates.js";
import { ask, chips, field, figure, textOf } from "../lib/dialogs.js";
import { button, h, setText, show } from "../lib/dom.js";
import { decimalsOf, duration, grams, number, percent } from "../lib/format.js";
import { say } from "../lib/words.js";

/** @typedef {Pick<Page.Tools, "store" | "notify">} Tools */

/**
 * The salts of a check, the driest first, by their names at the bench.
 * @type {Record<string, string>}
 */
export const saltNames = {
  "lithium-chloride": say("salt.lithium-chloride"),
  "magnesium-chloride": say("salt.magnesium-chloride"),
  "potassium-carbonate": say("salt.potassium-carbonate"),
  "sodium-chloride": say("salt.sodium-chloride"),
  "potassium-chloride": say("salt.potassium-chloride"),
  "potassium-sulphate": say("salt.potassium-sulphate"),
};

/**
 * checkDialog asks for a check of an instrument.
 * @param {API.SensorView} row
 * @param {Tools} tools
 */
export function checkDialog(row, tools) {
  if (tools.store.get("scales", row.id)) scaleDialog(row, tools);
  else sensorDialog(row, tools);
}

/**
 * steps lists what to do, in order.
 * @param {string[]} texts
 */
export const steps = (texts) => h("ol", { class: "check-steps" }, texts.map((text) => h("li", { text })));

/**
 * @param {API.SensorView} row
 * @param {Tools} tools
 */
function sensorDialog(row, tools) {
  const meter = h("div", { class: "pair" },
    field({ label: say("check.meter-humidity"), unit: say("check.rh"), name: "humidity_pct", type: "number", min: 0, max: 100, step: "any", inputmode: "decimal", required: true }),
    field({ label: say("check.meter-accuracy"), unit: say("check.rh"), name: "accuracy_pct", type: "number", min: 0.1, max: 5, step: "any", inputmode: "decimal", hint: say("check.meter-accuracy-hint") }));
  const salt = h("div", {}, steps([say("check.salt-1"), say("check.salt-2"), say("check.salt-3"), say("check.salt-4")]),
    h("p", { class: "care-now", text: say("check.salt-care") }),
    chips({ legend: say("check.salt"), name: "salt", options: Object.entries(saltNames).map(([value, label]) => ({ value, label })) }));
  const kind = chips({
    legend: say("check.against"), name: "against", chosen: "meter",
    options: [{ value: "meter", label: say("check.meter"), note: say("check.meter-note") }, { value: "salt", label: say("check.salts"), note: say("check.salts-note") }],
  });
  const choose = () => {
    const over = /** @type {HTMLInputElement | null} */ (kind.querySelector("input:checked"))?.value === "salt";
    show(meter, !over);
    show(salt, over);
  };
  kind.addEventListener("change", choose);
  choose();
  ask({
    title: say("check.title", { device: row.id }),
    lead: say("check.sensor-lead"),
    body: [kind, meter, salt, field({ label: say("check.note"), name: "note", type: "text", maxlength: 200, hint: say("check.note-hint") })],
    submitLabel: say("check.record"),
    async submit(data) {
      const over = textOf(data, "against") === "salt";
      const body = over ? { salt: textOf(data, "salt") || undefined } : { humidity_pct: figure(data, "humidity_pct"), accuracy_pct: figure(data, "accuracy_pct") };
      const { answer } = await changeRow(tools.store, "sensors", `sensors/${row.id}/verifications`, { ...body, note: textOf(data, "note") || undefined });
      tools.notify(verdict(answer));
    },
  });
}

/**
 * verdict says how a check went.
 * @param {API.SensorView} row
 */
function verdict(row) {
  if (row.check_failed) return row.check_failed;
  return row.check_due_at ? say("check.passed-due", { device: row.id, due: day(row.check_due_at) }) : say("check.passed", { device: row.id });
}

const drawMs = 300; // how often the live weight is drawn

/**
 * scaleDialog takes readings of one load from the scale itself.
 * @param {API.SensorView} row
 * @param {Tools} tools
 */
function scaleDialog(row, tools) {
  const { store } = tools;
  /** @type {number[]} */
  const readings = [];
  /** @type {number | undefined} */
  let zero; // what the empty pan showed
  let missed = ""; // why the last reading was not taken
  const now = () => {
    const scale = store.get("scales", row.id);
    return scale && scale.stable ? scale.weight_g : undefined;
  };
  const decimals = decimalsOf(store.get("scales", row.id)?.division_g ?? 0.1);
  const live = h("p", { class: "check-live" });
  const bare = h("p", { "aria-live": "polite" });
  const taken = h("p", { "aria-live": "polite" });
  const draw = () => {
    const weight = now();
    setText(live, weight === undefined ? say("check.moving") : say("check.shows", { weight: grams(weight, decimals) }));
    setText(bare, zero === undefined ? say("check.no-zero") : say("check.zero", { weight: grams(zero, decimals) }));
    show(off, readings.length > 0);
    setText(taken, missed || (readings.length === 0 ? say("check.no-readings") : say("check.readings", { readings: readings.map((g) => grams(g, decimals)).join(", ") })));
  };
  const take = (/** @type {(g: number) => void} */ use) => () => {
    const weight = now();
    if (weight !== undefined) use(weight);
    draw();
  };
  const empty = button(say("check.empty"), "big", take((g) => (zero = g)));
  const weights = field({ label: say("check.weights"), unit: "g", name: "weights", type: "text", required: true, pattern: "[0-9]+([ +]+[0-9]+)*", hint: say("check.weights-hint") });
  const on = button(say("check.take"), "big", take((g) => {
    const reading = Number((g - (zero ?? 0)).toFixed(6));
    const load = sumOf(/** @type {HTMLInputElement} */ (weights.querySelector("input")).value);
    // A scale that is wrong by half is not what is found here: the weights do not stand on the pan, or are others.
    const stands = load > 0 && Math.abs(reading - load) <= load / 2;
    missed = stands ? "" : say("check.not-the-load", { weight: grams(g, decimals), load: grams(load, 0) });
    if (stands) readings.push(reading);
  }));
  const off = button(say("check.drop"), "small", () => {
    readings.pop();
    draw();
  });
  off.classList.add("check-drop");
  draw();
  const timer = setInterval(draw, drawMs);
  ask({
    title: say("check.title", { device: row.id }),
    lead: say("check.scale-lead"),
    body: [
      steps([say("check.scale-1"), say("check.scale-2"), say("check.scale-3"), say("check.scale-4")]),
      weights,
      chips({ legend: say("check.weight-class"), name: "weight_class", chosen: "M1", options: ["E2", "F1", "F2", "M1", "M2", "M3"].map((c) => ({ value: c, label: c })) }),
      live, h("div", { class: "quick" }, empty, on), bare, taken, off,
      field({ label: say("check.note"), name: "note", type: "text", maxlength: 200, hint: say("check.certificate-hint") }),
    ],
    submitLabel: say("check.record"),
    closed: () => clearInterval(timer),
    async submit(data) {
      const { answer } = await changeRow(store, "sensors", `scales/${row.id}/verifications`, {
        weight_class: textOf(data, "weight_class"), loads: [{ weights_g: weightsOf(textOf(data, "weights")), readings_g: readings }], note: textOf(data, "note") || undefined,
      });
      tools.notify(verdict(answer));
    },
  });
}

const weightsOf = (/** @type {string} */ text) => text.trim().split(/[ +]+/).map(Number);

/**
 * sumOf is what the weights that were entered weigh together, in g; 0 while they cannot be read.
 * @param {string} text
 */
const sumOf = (text) => weightsOf(text).reduce((sum, g) => sum + g, 0) || 0;

/**
 * otherOf says why an instrument may be another one, "" where nothing hints at that.
 * @param {API.SensorView} row
 */
function otherOf(row) {
  if (row.moved_from) return say("check.moved", { from: row.moved_from });
  return row.device_before ? say("check.other-device", { device: row.device ?? "–", before: row.device_before }) : "";
}

/**
 * replacedDialog asks whether an instrument is another one.
 * @param {API.SensorView} row
 * @param {Tools} tools
 */
export function replacedDialog(row, { store }) {
  ask({
    title: say("check.replaced-title", { device: row.id }),
    lead: otherOf(row) || say("check.replaced-lead"),
    body: [
      chips({
        legend: say("check.which"), name: "which", chosen: otherOf(row) ? undefined : "new",
        options: [{ value: "new", label: say("check.new"), note: say("check.new-note") }, { value: "same", label: say("check.same"), note: say("check.same-note") }],
      }),
      field({ label: say("check.serial"), name: "serial", type: "text", maxlength: 60 }),
    ],
    submitLabel: say("check.replaced-it"),
    async submit(data) {
      await changeRow(store, "sensors", `sensors/${row.id}/replaced`, { same: textOf(data, "which") === "same", serial: textOf(data, "serial") || undefined });
    },
  });
}

/**
 * correctionDialog asks whether the correction that a check leads to is to be used.
 * @param {API.SensorView} row
 * @param {Tools} tools
 */
export function correctionDialog(row, { store }) {
  ask({
    title: say("check.correct-title", { device: row.id }),
    lead: correctionText("check.offered", row.correction_offered),
    body: [h("p", { text: say("check.correct-from-now") })],
    submitLabel: say("check.correct-it"),
    submit: () => changeRow(store, "sensors", `sensors/${row.id}/accept-correction`),
  });
}

/**
 * revokeDialog asks whether readings are no longer to be corrected.
 * @param {API.SensorView} row
 * @param {Tools} tools
 */
export function revokeDialog(row, { store }) {
  ask({
    title: say("check.revoke-title", { device: row.id }),
    lead: correctionText("check.corrected", row.correction),
    submitLabel: say("check.revoke-it"),
    submit: () => changeRow(store, "sensors", `sensors/${row.id}/revoke-correction`),
  });
}

/**
 * correctionText describes a correction.
 * @param {"check.offered" | "check.corrected"} key
 * @param {API.SensorCorrection | undefined} c
 */
const correctionText = (key, c) => (c ? say(key, { by: signed(c.changes_pct), uncertainty: percent(c.uncertainty_pct, 1) }) : "");

const signed = (/** @type {number} */ pct) => (pct > 0 ? "+" : "") + percent(pct, 1);

/**
 * factsOf are the lines about an instrument's checks.
 * @param {API.SensorView} row
 * @returns {string[]}
 */
export function factsOf(row) {
  const points = (row.check_points ?? []).map((p) => say(p.passed ? "check.point-passed" : "check.point-failed", {
    reference: p.salt ? (saltNames[p.salt] ?? p.salt) : say("check.meter"), on: day(p.at), read: percent(p.read_pct, 1), was: percent(p.reference_pct, 1), allowed: percent(p.allowed_pct, 1),
  }));
  const loads = (row.scale_check?.loads ?? []).map((l) => say(l.verdict === "failed" ? "check.load-failed" : l.verdict === "in-service" ? "check.load-in-service" : "check.load-passed", {
    load: grams(l.load_g, 0), error: grams(l.error_g, 2), spread: grams(l.spread_g, 2), limit: grams(l.verdict === "passed" ? l.initial_g : l.in_service_g, 2),
  }));
  return [
    ...points, ...loads,
    row.check_finding === "solvent" ? say("check.solvent") : "",
    correctionText("check.corrected", row.correction), correctionText("check.offered", row.correction_offered),
    ...healthOf(row.health),
    otherOf(row),
    row.replaced_at ? say("check.replaced-on", { on: day(row.replaced_at) }) : "",
  ].filter(Boolean);
}

/**
 * healthOf are the lines about how an instrument is. What is wrong is told by its alarms.
 * @param {API.Health | undefined} health
 * @returns {string[]}
 */
function healthOf(health) {
  if (!health) return [];
  return [
    health.drift_pct === undefined ? "" : say("health.drift", { by: signed(health.drift_pct) }),
    health.error_share === undefined ? "" : say("health.errors", { share: percent(100 * health.error_share, 1) }),
    health.jumps_per_day ? say("health.jumps", { times: number(health.jumps_per_day, 0) }) : "",
    health.settle_s === undefined ? "" : health.settle_s < 1 ? say("health.settles-at-once") : say("health.settles", { time: duration(health.settle_s) }),
    health.noise_g === undefined ? "" : say("health.noise", { noise: grams(health.noise_g, 3) }),
    health.zero_g === undefined ? "" : say("health.zero", { zero: grams(health.zero_g, 2) }),
  ].filter(Boolean);
}
