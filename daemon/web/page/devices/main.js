// The page of the devices, for maintenance with a phone: can I trust the numbers?
import { alarmsPanel, ofPrinting } from "../parts/alarms.js";
import { instrumentsPanel } from "./instruments.js";
import { inksPanel } from "./inks.js";
import { lampsPanel } from "./lamps.js";
import { byId, drawAlarmCount, live } from "../lib/live.js";
import { pairedPanel } from "./paired.js";
import { picturesPanel } from "./pictures.js";
import { readiness } from "./readiness.js";
import { storagePanel } from "./storage.js";
import { trendsPanel } from "./trends.js";
import { dependenciesPanel, verdictPanel, zonesPanel } from "./verdict.js";

const askMs = 5_000; // instruments and readiness are not in the stream
const drawMs = 300_000;

/** @type {import("./readiness.js").Check[] | null} */
let checks = null; // null: not heard of
const paired = pairedPanel();
const stored = storagePanel();
const trends = trendsPanel();

async function ask() {
  if (document.hidden) return;
  [checks] = await Promise.all([readiness(), paired.update(), stored.update(), trends.update()]);
}

/** newestCheck is when a sensor was checked last, whether it passed or not, in ms; 0 without any. */
function newestCheck() {
  return Math.max(0, ...[...page.store.all("sensors")].flatMap((row) => (row.check_points ?? []).map((point) => Date.parse(point.at))));
}

const page = live({ kinds: ["sensors", "scales", "air", "lights", "alarms", "inks", "batches"], fresh: ["sensors"], freshMs: askMs, needs: [ask], heartbeatS: 1 });
page.start(() => {
  const verdict = verdictPanel(byId("verdict"), page);
  const instruments = instrumentsPanel(byId("instruments"), page);
  const zones = zonesPanel(byId("zones"), page);
  const lamps = lampsPanel(byId("lamps"), page);
  const inks = inksPanel(byId("inks"), page);
  const dependencies = dependenciesPanel(byId("rests-on"), page);
  const alarms = alarmsPanel(byId("alarms"), page, ofPrinting);
  const pictures = picturesPanel(byId("pictures"));
  let checkedAt = newestCheck();
  pictures.update();
  setInterval(() => document.hidden || pictures.update(), drawMs);
  byId("trends").append(trends.element);
  byId("storage").append(...stored.parts);
  byId("paired").append(...paired.parts);
  return (kinds, now, contact) => {
    verdict.update(now, contact, checks);
    if (kinds.has("alarms")) drawAlarmCount(alarms.update(now));
    instruments.update(now);
    if (kinds.has("sensors") && newestCheck() > checkedAt) {
      checkedAt = newestCheck();
      pictures.checked();
    }
    if (kinds.has("air")) zones.update(now);
    lamps.update(now);
    dependencies.update(now, checks);
    inks.update(now);
  };
});
setInterval(ask, askMs);
