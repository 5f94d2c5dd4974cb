// The tone for a new alarm.
import { notAcknowledged } from "../parts/alarms.js";

/**
 * newAlarmTone returns a function that sounds it for each alarm that came since it was last called.
 * Those that stood when the page was opened were there before.
 * @param {import("../lib/store.js").Store} store
 * @param {(name: string) => void} tone
 */
export function newAlarmTone(store, tone) {
  /** @type {Set<string> | undefined} */
  let known;
  return () => {
    if (!store.loaded.has("alarms")) return;
    const open = new Set(store.all("alarms").filter(notAcknowledged).map((row) => `${row.name}/${row.subject}/${row.since}`));
    const before = known;
    known = open;
    if (before && [...open].some((key) => !before.has(key))) tone("alarm");
  };
}
