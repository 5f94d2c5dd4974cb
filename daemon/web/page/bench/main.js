// The bench's page.
import { airDay } from "./air-day.js";
import { airPanel } from "./air.js";
import { alarmsPanel } from "../parts/alarms.js";
import { batchesPanel } from "./batches.js";
import { benchPanel } from "./bench.js";
import { lightsPanel } from "./lights.js";
import { confirmByEnter } from "./keys.js";
import { byId, drawAlarmCount, live } from "../lib/live.js";
import { drawClock, stripPanel } from "./strip.js";
import { newAlarmTone } from "./alarm-tone.js";
import { play, soundAfterTaps } from "../lib/tones.js";
import { undoBar } from "../parts/undo.js";

const page = live({ kinds: ["air", "scales", "batches", "presses", "lights", "alarms", "inks"], heartbeatS: 1 });

page.start(() => {
  const air = airPanel(byId("air"));
  const day = airDay(byId("air-day"));
  const bench = benchPanel(byId("bench"), { ...page, tone: play });
  const lights = lightsPanel(byId("lights"), page);
  const alarms = alarmsPanel(byId("alarms"), page);
  const batches = batchesPanel(byId("batches"), page);
  const strip = stripPanel(byId("strip"), page, bench.waiting);
  undoBar(page);
  confirmByEnter(bench.byKey);
  soundAfterTaps();
  const alarmTone = newAlarmTone(page.store, play);
  const draw = (/** @type {Set<Page.Kind>} */ kinds, /** @type {number} */ now, /** @type {boolean} */ contact) => {
    const has = (/** @type {Page.Kind[]} */ ...names) => names.some((name) => kinds.has(name));
    if (has("air")) air.update(page.store.all("air"), now);
    if (has("scales", "batches", "presses", "inks")) bench.update(now, has("batches", "presses", "inks", "air"));
    if (has("lights", "batches")) lights.update(contact);
    if (has("alarms")) drawAlarmCount(alarms.update(now));
    if (has("batches", "inks", "lights")) batches.update(now);
    if (has("lights", "alarms", "batches")) strip.update(contact);
    if (has("alarms")) alarmTone();
    // What only grows older is drawn once a second, not with each weight.
    if (!has("air")) return;
    if (contact) day.update(now);
    drawClock(byId("hall-clock"), now);
  };
  // A person pours by the weight, so it is drawn before anything else.
  return Object.assign(draw, {
    first(/** @type {Page.Kind} */ kind, /** @type {number} */ now) {
      if (kind === "scales") bench.weigh(now);
    },
  });
});
