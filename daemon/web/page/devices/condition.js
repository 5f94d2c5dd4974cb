// How far each thing that the bench depends on can be trusted.
import { day } from "../lib/dates.js";
import { clockTime } from "../lib/format.js";
import { say } from "../lib/words.js";

/**
 * How a thing is: fine, to be looked at, not to be relied on, not known, or out of use.
 * @typedef {"fine" | "doubt" | "bad" | "unknown" | "out"} Standing
 */

/**
 * detail is what a program reported, for who mends it.
 * @typedef {{ stands: Standing, words: string, detail?: string }} State
 */

/** @typedef {import("../lib/store.js").Store} Store */

/** @typedef {import("./readiness.js").Check} Check */

/**
 * How an instrument is, by the condition that the bench tells.
 * @type {Record<string, State>}
 */
export const conditions = {
  up: { stands: "fine", words: say("devices.up") },
  stale: { stands: "bad", words: say("devices.stale") },
  down: { stands: "bad", words: say("devices.down") },
  waiting: { stands: "unknown", words: say("devices.waiting") },
};

/**
 * alarmsOf returns the alarms about an instrument whose cause is present.
 * @param {Store} store
 * @param {string} id
 */
export const alarmsOf = (store, id) => store.all("alarms").filter((a) => a.subject === id && a.state !== "returned");

/**
 * conditionOf returns the state of an instrument; a condition that this page does not know is named,
 * not judged. Alarms about an instrument that looks fine put it in doubt, and so does another device
 * at its address.
 * @param {API.SensorView} row
 * @param {API.AlarmView[]} alarms about it
 * @param {number} now
 * @returns {State}
 */
export function conditionOf(row, alarms, now) {
  if (row.out_of_service_until) return { stands: "out", words: say("devices.maintenance", { until: clockTime(Date.parse(row.out_of_service_until), now) }) };
  const known = conditions[row.condition] ?? { stands: "unknown", words: row.condition };
  if (row.check_failed) return { stands: "bad", words: say("devices.check-failed") };
  if (row.disagrees || alarms.some(disagrees)) return { stands: "bad", words: say("devices.disagrees") };
  if (known.stands === "fine" && row.device_before) return { stands: "doubt", words: say("devices.other-device") };
  if (known.stands === "fine" && alarms.length > 0) return { stands: "doubt", words: say("devices.in-doubt") };
  return known;
}

/**
 * dueOf says when an instrument was checked last and when it is to be checked; nothing of the next check where the
 * last one failed, since that is due now.
 * @param {API.SensorView} row
 * @param {number} now
 */
export function dueOf(row, now) {
  if (!row.check_due_at) return row.checked_at || row.check_failed || row.check_points?.length ? "" : say("check.never");
  const [on, due] = [row.checked_at && day(row.checked_at), day(row.check_due_at)];
  if (!row.check_failed && Date.parse(row.check_due_at) > now) return on ? say("devices.checked", { on, due }) : say("check.due", { due });
  return [on && say("check.checked", { on }), !row.check_failed && say("check.was-due", { due })].filter(Boolean).join(", ");
}

// A suppressed one has no second sensor to compare with any more.
const disagrees = (/** @type {API.AlarmView} */ a) => a.name === "sensor-disagrees" && a.state !== "suppressed";

/** @type {Record<string, State>} */
const qualities = {
  good: { stands: "fine", words: say("devices.good") }, uncertain: { stands: "doubt", words: say("devices.uncertain") }, bad: { stands: "bad", words: say("devices.bad") },
};

/**
 * zoneState returns the state of a zone's air.
 * @param {Pick<API.AirView, "quality" | "why">} row
 * @returns {State}
 */
export function zoneState(row) {
  const { stands, words } = qualities[row.quality] ?? { stands: "unknown", words: row.quality };
  return { stands, words: [words, row.why].filter(Boolean).join(": ") };
}

/**
 * scaleState returns the state of what a scale shows.
 * @param {Pick<API.ScaleView, "quality" | "why">} row
 * @returns {State}
 */
function scaleState(row) {
  return { stands: qualities[row.quality]?.stands ?? "unknown", words: row.why || (qualities[row.quality]?.words ?? row.quality) };
}

/** @type {State} */
const notHeardOf = { stands: "unknown", words: say("devices.not-heard") };

/**
 * doubted returns a state, or doubt where it is fine and alarms say otherwise.
 * @param {State} state
 * @param {API.AlarmView[]} alarms
 * @returns {State}
 */
function doubted(state, alarms) {
  if (state.stands !== "fine" || alarms.length === 0) return state;
  return { stands: "doubt", words: alarms.map((a) => a.text).join(" ") };
}

/**
 * dependencies lists journal, broker, the plant's broker where there is one, and clock. checks are the bench's own of its readiness, null
 * when they were not heard.
 * @param {Store} store
 * @param {Check[] | null} checks
 * @returns {({ id: string, optional?: boolean } & State)[]} optional is one that a shop may do without
 */
export function dependencies(store, checks) {
  if (checks === null) return [say("devices.journal"), say("devices.broker"), say("devices.clock")].map((id) => ({ id, ...notHeardOf }));
  const alarms = (/** @type {string[]} */ ...names) => store.all("alarms").filter((a) => names.includes(a.name) && a.state !== "returned");
  const check = (/** @type {string} */ name, /** @type {string} */ fine, /** @type {string} */ wrong, /** @type {State} */ none) => {
    const c = checks.find((x) => x.name === name);
    if (!c) return none;
    return /** @type {State} */ (c.ok ? { stands: "fine", words: fine } : { stands: "bad", words: wrong, detail: c.detail });
  };
  const clock = alarms("clock");
  return [
    { id: say("devices.journal"), ...doubted(check("journal", say("devices.written"), say("devices.not-saved"), notHeardOf), alarms("journal")) },
    {
      id: say("devices.broker"), optional: true,
      ...doubted(check("broker", say("devices.connected"), say("devices.not-connected"), { stands: "out", words: say("devices.no-broker") }), alarms("broker", "queue", "other-instance")),
    },
    ...(checks.some((c) => c.name === "plant") ? [plant(check("plant", say("devices.connected"), say("devices.plant-not-connected"), notHeardOf), alarms("plant"))] : []),
    clock.length > 0
      ? { id: say("devices.clock"), stands: "bad", words: clock.map((a) => a.text).join(" ") }
      : { id: say("devices.clock"), stands: "fine", words: say("devices.clock-set") },
  ];
}

/**
 * plant returns the row of the plant's broker. The numbers here are right without it.
 * @param {State} state
 * @param {API.AlarmView[]} alarms
 * @returns {{ id: string, optional: boolean } & State}
 */
function plant(state, alarms) {
  const row = doubted(state, alarms);
  return { id: say("devices.plant"), optional: true, ...row, stands: row.stands === "fine" ? "fine" : "out" };
}

/**
 * judge returns whether the readings can be trusted, and what is against it.
 * @param {Store} store
 * @param {number} now
 * @param {boolean} contact
 * @param {Check[] | null} checks
 * @returns {State & { against: string[] }}
 */
export function judge(store, now, contact, checks) {
  if (!contact) return { stands: "unknown", words: say("devices.no-contact"), against: [] };
  const things = [
    ...store.all("sensors").map((row) => ({ id: row.id, ...conditionOf(row, alarmsOf(store, row.id), now) })),
    ...store.all("scales").filter((row) => row.quality !== "good").map((row) => ({ id: row.id, ...scaleState(row) })),
    ...store.all("air").map((row) => ({ id: say("devices.air-of", { zone: row.zone }), ...zoneState(row) })),
    ...dependencies(store, checks),
  ];
  const wrong = things.filter((t) => t.stands !== "fine" && !("optional" in t && t.optional && t.stands === "out"));
  const against = wrong.map((t) => `${t.id}: ${t.words}`);
  if (store.all("sensors").length === 0) return { stands: "unknown", words: say("devices.no-instrument"), against };
  if (wrong.some((t) => t.stands === "bad")) return { stands: "bad", words: say("devices.not-trusted"), against };
  if (wrong.length > 0) return { stands: "doubt", words: say("devices.with-care"), against };
  const unchecked = [...store.all("sensors")].filter((row) => row.checked_at === undefined).map((row) => row.id).sort();
  // Nothing speaks against them, and nobody has looked: that is not the mark of what was checked.
  if (unchecked.length > 0) return { stands: "unknown", words: say("devices.unchecked", { devices: unchecked.join(", ") }), against };
  return { stands: "fine", words: say("devices.trusted"), against };
}
