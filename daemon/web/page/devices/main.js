// The page of the devices, for maintenance with a phone: can I trust the numbers?
import { alarmsPanel } from "../parts/alarms.js";
import { instrumentsPanel, restsOnPanel, verdictPanel, zonesPanel } from "./devices.js";
import { inksPanel } from "./inks.js";
import { lampsPanel } from "./lamps.js";
import { byId, drawAlarmCount, live } from "../lib/live.js";
import { pairedPanel } from "./paired.js";
import { readiness } from "./readiness.js";

const askMs = 5_000; // instruments and readiness have no place in the stream

const page = live({ kinds: ["sensors", "scales", "air", "lights", "alarms", "inks"], fresh: ["sensors"], freshMs: askMs });
const verdict = verdictPanel(byId("verdict"), page);
const instruments = instrumentsPanel(byId("instruments"), page);
const zones = zonesPanel(byId("zones"), page);
const lamps = lampsPanel(byId("lamps"), page);
const inks = inksPanel(byId("inks"), page);
const restsOn = restsOnPanel(byId("rests-on"), page);
const alarms = alarmsPanel(byId("alarms"), page);
const paired = pairedPanel(byId("paired"));
let checks = null; // null: not heard of

async function ask() {
  if (document.hidden) return;
  paired.update();
  checks = await readiness();
}

page.start((kinds, now, contact) => {
  verdict.update(now, contact, checks);
  if (kinds.has("alarms")) drawAlarmCount(alarms.update(now));
  instruments.update(now);
  if (kinds.has("air")) zones.update(now);
  lamps.update(now);
  restsOn.update(now, checks);
  if (kinds.has("inks")) inks.update();
});
ask();
setInterval(ask, askMs);
