// What every page does: it loads the lists it needs, follows the stream, says whether it still
// hears the bench, and draws what has changed.
import { list, Refused, whenUnpaired } from "./api.js";
import { BenchClock } from "./clock.js";
import { setAttr, setText, show } from "./dom.js";
import { age, duration } from "./format.js";
import { pairThisDevice } from "./pair.js";
import { Store } from "./store.js";
import { silenceMs, Stream } from "./stream.js";

const reloadMs = 30_000; // lists are asked for again, so that nothing missed stays missed
const streamed = { air: "air", scale: "scales", batch: "batches", light: "lights", alarm: "alarms", neighbour: "neighbours" };

export const byId = (id) => document.getElementById(id);

export function drawAlarmCount(count) {
  const link = byId("alarm-count");
  show(link, count > 0);
  setText(link, count === 1 ? "1 alarm not acknowledged" : `${count} alarms not acknowledged`);
}

// live follows the bench. kinds are the lists that the page shows; fresh are those of them that
// have no place in the stream and are asked for every few seconds, freshMs apart. needs are
// what else the page asks for before it is first drawn.
export function live({ kinds, fresh = [], freshMs = reloadMs, needs = [] }) {
  whenUnpaired(pairThisDevice);
  const clock = new BenchClock();
  const changed = new Set();
  const answered = new Set(); // the lists, and needs, that were answered or refused
  let build = () => () => {};
  let draw = null; // made by build when there is something to draw
  let scheduled = false;
  let contactDrawn; // what was last drawn as in contact, or not
  const store = new Store((kind) => {
    changed.add(kind);
    if (scheduled) return;
    scheduled = true;
    requestAnimationFrame(() => {
      scheduled = false;
      redraw(new Set(changed));
    });
  });
  store.clock = clock;

  const stream = new Stream({
    url: "/api/v1/stream",
    onOpen: reload,
    onEvent(name, data) {
      if (!streamed[name]) return reload(); // the stream lost something, and says so
      const row = JSON.parse(data);
      if (name === "scale" || name === "batch") clock.saw(Date.parse(row.time));
      if (pressesMayDiffer(name, row)) loadList("presses");
      store.put(streamed[name], row);
    },
  });

  // A press has no place in the stream, but what changes it has.
  function pressesMayDiffer(name, row) {
    if (!kinds.includes("presses")) return false;
    if (name === "batch") return store.get("batches", row.id)?.press !== row.press;
    const before = name === "light" && store.get("lights", row.id);
    return Boolean(before) && ["meaning", "flashing", "press", "batch"].some((field) => before[field] !== row[field]);
  }

  async function loadList(kind) {
    const asked = performance.now();
    try {
      const rows = await list(kind);
      if (kind === "batches") rows.filter((row) => row.state !== "closed").slice(0, 1).forEach((row) => clock.saw(Date.parse(row.time)));
      answered.add(kind);
      store.replace(kind, rows, asked);
    } catch {
      // Contact is judged by the stream; the next reload tries again.
      answered.add(kind);
    }
    drawContact();
  }

  async function ask(need) {
    if (answered.has(need)) return;
    try {
      await need();
    } finally {
      answered.add(need);
      drawContact();
    }
  }

  function reload() {
    kinds.forEach(loadList);
    needs.forEach(ask);
  }

  // waiting: nothing is drawn until every list has been answered once, so that the page is put
  // together in one step and does not move afterwards; or until the bench has been silent too long.
  function waiting() {
    return !draw && stream.silentMs() < silenceMs && [...kinds, ...needs].some((one) => !answered.has(one));
  }

  function inContact() {
    return stream.silentMs() < silenceMs && store.loaded.size > 0;
  }

  function redraw(what) {
    if (waiting()) return;
    draw ??= build();
    what.forEach((kind) => changed.delete(kind));
    draw(what, clock.now(), (contactDrawn = inContact()));
  }

  function drawContact() {
    if (waiting()) return;
    const contact = inContact();
    const silent = stream.silentMs() / 1000;
    const state = contact ? (stream.connected ? "live" : "retrying") : "none";
    setAttr(document.body, "data-contact", state);
    const words = {
      live: "In contact with the bench",
      retrying: `Contact lost, trying again; last heard ${age(silent)}`, none: "No contact",
    };
    setText(byId("contact-words"), words[state]);
    show(byId("no-contact"), state === "none");
    setText(byId("no-contact-age"), `Nothing heard for ${duration(silent)}. What stands below is old.`);
    if (contact !== contactDrawn) redraw(new Set(kinds));
  }

  return {
    store,
    // say runs something that the bench may refuse, and shows the refusal in the given element.
    async say(element, work) {
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
      redraw(new Set(kinds));
    },
    tell(text) {
      setText(byId("notice"), text);
      show(byId("notice"), true);
    },
    // start begins to listen. building makes the parts of the page once there is something to
    // show, and returns a function (kinds, now, contact) that draws what has changed.
    start(building) {
      build = building;
      // What is silent cannot announce itself: once a second ages, countdowns and contact are drawn anew.
      setInterval(() => {
        redraw(new Set(kinds));
        drawContact();
      }, 1000);
      setInterval(() => {
        if (stream.connected) reload();
      }, reloadMs);
      if (fresh.length > 0) {
        setInterval(() => {
          if (stream.connected) fresh.forEach(loadList);
        }, freshMs);
      }
      window.addEventListener("resize", () => redraw(new Set(kinds)));
      drawContact();
      stream.start();
    },
  };
}
