// The work that all pages share: loading lists, following the stream, showing whether there is contact
// with the bench, and drawing changes.
import { install } from "./app.js";
import { list, Refused, whenUnpaired } from "./api.js";
import { setText, show } from "./dom.js";
import { duration } from "./format.js";
import { pairThisDevice } from "./pair.js";
import { showRefusal } from "./refusal.js";
import { Store } from "./store.js";
import { silenceMs, Stream } from "./stream.js";
import { ignoreSecondTaps } from "./touch.js";
import { say } from "./words.js";

const reloadMs = 30_000; // lists are loaded again this often, in case an event was missed

/** @type {Record<string, Page.Kind>} */
const streamed = { air: "air", scale: "scales", batch: "batches", light: "lights", alarm: "alarms", neighbour: "neighbours" };

/**
 * byId returns the element of the page that has the id.
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  const element = document.getElementById(id);
  if (!element) throw new Error(`the page has no element ${id}`);
  return element;
}

/**
 * drawAlarmCount shows in the page's head how many alarms are not acknowledged.
 * @param {number} count
 */
export function drawAlarmCount(count) {
  const link = byId("alarm-count");
  show(link, count > 0);
  setText(link, say("live.alarms", { n: count }));
}

/**
 * A function that draws a page: it is called with the kinds that may have changed, the bench's time in ms, and
 * whether there is contact with the bench. Its property first, where it has one, draws what must not
 * wait for the rest: it is called with the kind of each row as soon as the stream has brought it.
 * @typedef {((kinds: Set<Page.Kind>, now: number, contact: boolean) => void) & { first?: (kind: Page.Kind, now: number) => void }} Draw
 */

/**
 * live follows the bench. kinds are the lists that the page shows; fresh are those of them that
 * are not in the stream and are asked for every few seconds, freshMs apart. needs are what else
 * the page asks for before it is first drawn; one that resolves to false had no answer, and is asked
 * for again with the lists. heartbeatS is how often the bench is to be heard, in
 * s: a page with a weight on it must know at once when that is old.
 * @param {{ kinds: Page.Kind[], fresh?: Page.Kind[], freshMs?: number, needs?: (() => Promise<unknown>)[], heartbeatS?: number }} options
 * @returns {Page.Tools & { start: (building: () => Draw) => void }}
 */
export function live({ kinds, fresh = [], freshMs = reloadMs, needs = [], heartbeatS = 15 }) {
  install();
  ignoreSecondTaps();
  whenUnpaired(pairThisDevice);
  /** @type {Set<Page.Kind>} */
  const changed = new Set();
  /** @type {Set<Page.Kind | (() => Promise<unknown>)>} */
  const answered = new Set(); // the lists and the needs that were answered or refused, or had no answer
  /** @type {Set<() => Promise<unknown>>} */
  const had = new Set(); // the needs that need not be asked for again
  /** @type {() => Draw} */
  let build = () => () => {};
  /** @type {Draw | null} */
  let draw = null; // made by build when there is something to draw
  let scheduled = false;
  /** @type {boolean | undefined} */
  let contactDrawn; // whether the page was last drawn as in contact
  const store = new Store((kind) => {
    changed.add(kind);
    if (scheduled) return;
    scheduled = true;
    requestAnimationFrame(() => {
      scheduled = false;
      redraw(new Set(changed));
    });
  });
  const clock = store.clock;

  const stream = new Stream({
    url: "/api/v1/stream",
    heartbeatS,
    onOpen: reload,
    onChange() {
      drawContact();
      redraw(new Set(kinds));
    },
    onEvent(name, data) {
      const kind = streamed[name];
      if (!kind) return reload(); // the stream lost something, and says so
      const row = JSON.parse(data);
      if (name === "scale" || name === "batch") clock.saw(Date.parse(row.time));
      if (pressesMayDiffer(name, row)) loadList("presses");
      store.put(kind, row);
      draw?.first?.(kind, clock.now());
    },
  });

  /**
   * pressesMayDiffer tells whether an event changes a press: presses are not in the stream.
   * @param {string} name
   * @param {any} row
   */
  function pressesMayDiffer(name, row) {
    if (!kinds.includes("presses")) return false;
    if (name === "batch") return store.get("batches", row.id)?.press !== row.press;
    const before = name === "light" ? store.get("lights", row.id) : undefined;
    return before !== undefined && (before.meaning !== row.meaning || before.flashing !== row.flashing || before.press !== row.press || before.batch !== row.batch);
  }

  /** @param {Page.Kind} kind */
  async function loadList(kind) {
    const asked = performance.now();
    try {
      const rows = await list(kind);
      answered.add(kind);
      store.replace(kind, rows, asked);
      if (kind === "batches") clock.saw(Date.parse(store.all("batches")[0]?.time ?? ""));
    } catch {
      // Contact is judged by the stream; the next reload tries again.
      answered.add(kind);
    }
    drawContact();
  }

  /** @param {() => Promise<unknown>} need */
  async function ask(need) {
    if (had.has(need)) return;
    try {
      if ((await need()) !== false) had.add(need);
    } finally {
      answered.add(need);
      drawContact();
    }
  }

  function reload() {
    kinds.forEach(loadList);
    needs.forEach(ask);
  }

  // waiting tells whether the first drawing has to wait: until every list has been answered, so that
  // the page appears in one step and does not move afterwards, or the bench has been silent too long.
  function waiting() {
    return !draw && stream.silentMs() < silenceMs && [...kinds, ...needs].some((one) => !answered.has(one));
  }

  function inContact() {
    return stream.silentMs() < silenceMs && store.loaded.size > 0;
  }

  /** @param {Set<Page.Kind>} what */
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
    const state = contact ? (stream.late() ? "retrying" : "live") : "none";
    document.body.dataset.contact = state;
    const words = { live: say("live.contact"), retrying: say("live.retrying"), none: say("live.none") };
    setText(byId("contact-words"), words[state]);
    show(byId("no-contact"), state === "none");
    setText(byId("no-contact-age"), say("live.silent", { duration: duration(silent) }));
    if (contact !== contactDrawn) redraw(new Set(kinds));
  }

  return {
    store,
    async attempt(element, work) {
      show(element, false);
      try {
        await work();
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
        showRefusal(element, error);
        element.scrollIntoView({ block: "nearest" });
      }
      redraw(new Set(kinds));
    },
    notify(text) {
      setText(byId("notice"), text);
      show(byId("notice"), true);
    },
    // start begins to listen. building makes the parts of the page once there is something to
    // show, and returns a function (kinds, now, contact) that draws what has changed.
    start(building) {
      build = building;
      // Silence brings no event: ages, countdowns and contact are drawn once a second.
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
