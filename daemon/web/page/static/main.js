// The page: it loads the lists, follows the stream, and draws what has changed.
import { airPanel } from "./air.js";
import { alarmsPanel } from "./alarms.js";
import { list, Refused } from "./api.js";
import { batchesPanel } from "./batches.js";
import { benchPanel } from "./bench.js";
import { BenchClock } from "./clock.js";
import { setAttr, setText, show } from "./dom.js";
import { age, duration } from "./format.js";
import { lightsPanel } from "./lights.js";
import { keyOf, Store } from "./store.js";
import { silenceMs, Stream } from "./stream.js";

const reloadMs = 30_000; // lists are asked for again, so that nothing missed stays missed
const streamed = { air: "air", scale: "scales", batch: "batches", light: "lights", alarm: "alarms" };

const byId = (id) => document.getElementById(id);
const clock = new BenchClock();
const changed = new Set();
let drawing = false;
let lightDrawn = false; // whether the lights were last drawn as in contact

const store = new Store((kind) => {
  changed.add(kind);
  if (drawing) return;
  drawing = true;
  requestAnimationFrame(() => {
    drawing = false;
    draw(new Set(changed));
  });
});
store.clock = clock;

// say runs something that the bench may refuse, and shows the refusal in the given element.
async function say(element, work) {
  show(element, false);
  try {
    await work();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    element.textContent = error.message;
    element.dataset.code = error.code;
    show(element, true);
    element.scrollIntoView({ block: "nearest" });
  }
  draw(new Set(Object.keys(keyOf)));
}

function tell(text) {
  setText(byId("notice"), text);
  show(byId("notice"), true);
}

const tools = { store, say, tell };
const air = airPanel(byId("air"));
const bench = benchPanel(byId("bench"), tools);
const lights = lightsPanel(byId("lights"), tools);
const alarms = alarmsPanel(byId("alarms"), tools);
const batches = batchesPanel(byId("batches"), tools);

const stream = new Stream({
  url: "/api/v1/stream",
  onOpen: reload,
  onEvent(name, data) {
    if (!streamed[name]) return reload(); // the stream lost something, and says so
    const row = JSON.parse(data);
    if (name === "scale" || name === "batch") clock.saw(Date.parse(row.time));
    if (name === "batch" && store.get("batches", row.id)?.press !== row.press) loadList("presses");
    store.put(streamed[name], row);
  },
});

async function loadList(kind) {
  const asked = performance.now();
  try {
    const rows = await list(kind);
    if (kind === "batches") rows.filter((row) => row.state !== "closed").slice(0, 1).forEach((row) => clock.saw(Date.parse(row.time)));
    store.replace(kind, rows, asked);
  } catch {
    // Contact is judged by the stream; the next reload tries again.
  }
}

function reload() {
  Object.keys(keyOf).forEach(loadList);
}

function inContact() {
  return stream.silentMs() < silenceMs && store.loaded.size > 0;
}

function draw(kinds) {
  const now = clock.now();
  const has = (...names) => names.some((name) => kinds.has(name));
  kinds.forEach((kind) => changed.delete(kind));
  if (has("air")) air.update(store.all("air"), now);
  if (has("scales", "batches", "presses", "inks")) bench.update(now);
  if (has("lights", "batches")) lights.update((lightDrawn = inContact()));
  if (has("alarms")) drawAlarmCount(alarms.update(now));
  if (has("batches", "inks", "lights")) batches.update(now);
}

function drawAlarmCount(count) {
  const link = byId("alarm-count");
  show(link, count > 0);
  setText(link, count === 1 ? "1 alarm not acknowledged" : `${count} alarms not acknowledged`);
}

function drawContact() {
  const contact = inContact();
  const waiting = store.loaded.size === 0 && stream.silentMs() < silenceMs;
  const silent = stream.silentMs() / 1000;
  const state = contact ? (stream.connected ? "live" : "retrying") : waiting ? "waiting" : "none";
  setAttr(document.body, "data-contact", state);
  const words = {
    live: "In contact with the bench", waiting: "Reaching for the bench…",
    retrying: `Contact lost, trying again; last heard ${age(silent)}`, none: "No contact",
  };
  setText(byId("contact-words"), words[state]);
  show(byId("no-contact"), state === "none");
  setText(byId("no-contact-age"), `Nothing heard for ${duration(silent)}. What stands below is old.`);
  if (contact !== lightDrawn) lights.update((lightDrawn = contact));
}

// What is silent cannot announce itself: once a second ages, countdowns and contact are drawn anew.
setInterval(() => {
  draw(new Set(Object.keys(keyOf)));
  drawContact();
}, 1000);
setInterval(() => {
  if (stream.connected) reload();
}, reloadMs);
window.addEventListener("resize", () => draw(new Set(["batches"])));
drawContact();
stream.start();
