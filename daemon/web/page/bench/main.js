// The bench's page.
import { airPanel } from "./air.js";
import { alarmsPanel } from "../parts/alarms.js";
import { batchesPanel } from "./batches.js";
import { benchPanel } from "./bench.js";
import { ignoreSecondTaps } from "../lib/touch.js";
import { lightsPanel } from "./lights.js";
import { byId, drawAlarmCount, live } from "../lib/live.js";
import { undoBar } from "../parts/undo.js";

const page = live({ kinds: ["air", "scales", "batches", "presses", "lights", "alarms", "inks"], heartbeatS: 1 });

ignoreSecondTaps();
page.start(() => {
  const air = airPanel(byId("air"));
  const bench = benchPanel(byId("bench"), page);
  const lights = lightsPanel(byId("lights"), page);
  const alarms = alarmsPanel(byId("alarms"), page);
  const batches = batchesPanel(byId("batches"), page);
  undoBar(page);
  return (kinds, now, contact) => {
    const has = (/** @type {Page.Kind[]} */ ...names) => names.some((name) => kinds.has(name));
    if (has("air")) air.update(page.store.all("air"), now);
    if (has("scales", "batches", "presses", "inks")) bench.update(now);
    if (has("lights", "batches")) lights.update(contact);
    if (has("alarms")) drawAlarmCount(alarms.update(now));
    if (has("batches", "inks", "lights")) batches.update(now);
  };
});
