// The page of one batch, to which the code on its label leads: what was poured, from which cans, how
// long it lives, where it was, what happened to it. Nothing is changed here.
import { get, Refused } from "../lib/api.js";
import { day, dayTime, timeOfDay } from "../lib/dates.js";
import { h, refusalLine, setText, show } from "../lib/dom.js";
import { clockTime, grams, remaining } from "../lib/format.js";
import { byId, live } from "../lib/live.js";
import { parseEnds, untilEnds } from "../parts/axis.js";
import { outcome, stays } from "../parts/history.js";

const id = decodeURIComponent(location.pathname.split("/")[2] ?? "");
const seq = new URLSearchParams(location.search).get("seq");
const askMs = 30_000;

const page = live({ kinds: ["batches"], needs: [load] });
const title = h("h2", { class: "batch-head", text: `Batch ${id}` });
const life = h("p", { class: "batch-page-life" });
const history = h("div", { class: "history" });
const refusal = refusalLine();
document.title = `potlifed: batch ${id}`;
let open = false; // whether the batch that is shown is open, so that the row tells its life
/** @type {string | undefined} */
let known; // what the row said when it was last looked at

async function load() {
  try {
    /** @type {API.History} */
    const b = await get(`batches/${encodeURIComponent(id)}/history${seq ? `?seq=${encodeURIComponent(seq)}` : ""}`);
    show(refusal, false);
    open = b.state !== "closed";
    history.replaceChildren(...historyParts(b));
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    refusal.textContent = error.status === 404 ? `The journal knows no batch ${id}.` : error.message;
    show(refusal, true);
    history.replaceChildren();
  }
}

/**
 * historyParts makes the parts of the page.
 * @param {API.History} b
 */
function historyParts(b) {
  const part = (/** @type {string} */ heading, /** @type {(Page.Child | Page.Child[])[]} */ ...body) => h("section", { class: "history-part" }, h("h3", { text: heading }), ...body);
  const facts = [
    `${b.ink}${b.colour_class ? `, ${b.colour_class}` : ""}${b.cup ? `, in ${b.cup}` : ""}`,
    b.mixed_at ? `Mixed ${dayTime(b.mixed_at)}` : "No hardener went in",
    b.closed_at && `Ended ${dayTime(b.closed_at)}: ${outcome(b.outcome)}${b.left_g === undefined ? "" : `, ${grams(b.left_g)} left`}`,
  ].flatMap((fact) => fact || []);
  const events = b.events ?? [];
  const [tests, presses] = [b.tests ?? [], b.presses ?? []];
  return [
    part("What it is", facts.map((text) => h("p", { text })), (b.warnings ?? []).map((text) => h("p", { class: "can-stir warn", text }))),
    part("What was poured", h("ul", { class: "history-list" }, (b.poured ?? []).map((c) => pouredRow(c, b.lots ?? [])))),
    splitOff(b) && part(b.state === "closed" ? "What was in it at the end" : "What is in it", h("ul", { class: "history-list" }, inIt(b).map(([name, g]) => h("li", {}, h("strong", { text: grams(g) }), ` ${name}`)))),
    part("Where it stood", stays(b), presses.length > 1 && h("p", { text: `Altogether ${b.prints} prints.` })),
    tests.length > 0 && part("Tests", h("ul", { class: "history-list" }, tests.map((t) => h("li", { text: `${dayTime(t.at)}: ${t.kind}, ${t.result === "pass" ? "passed" : "failed"}` })))),
    part("What happened", h("ol", { class: "history-list" }, events.map(eventRow))),
    b.state !== "closed" && b.mixed_at && h("p", {}, h("a", { class: "big-link", href: `/batches/${encodeURIComponent(id)}/label`, text: "Its label" })),
  ].flatMap((shown) => shown || []);
}

/**
 * splitOff tells whether less is in the cup than was poured into it, because a part was split off.
 * @param {API.History} b
 */
function splitOff(b) {
  const mass = (/** @type {API.Component[] | null} */ list) => (list ?? []).reduce((sum, c) => sum + c.g, 0);
  return mass(b.poured) - mass(b.components) > 0.05;
}

/**
 * inIt sums up what is in the cup by part.
 * @param {API.History} b
 */
function inIt(b) {
  /** @type {Map<string, number>} */
  const sums = new Map();
  for (const c of b.components ?? []) sums.set(c.part, (sums.get(c.part) ?? 0) + c.g);
  return [...sums];
}

/**
 * @param {API.Component} c
 * @param {API.LotView[]} lots
 */
function pouredRow(c, lots) {
  const lot = lots.find((l) => l.can === c.can && l.part === c.part);
  const from = c.can ? ` from ${c.can}${lot?.assumed ? " (the can in use; nobody named it)" : ""}` : ", its can is not known";
  return h("li", {}, h("strong", { text: grams(c.g) }), ` ${c.part}${from}`, lot?.lot && h("a", { class: "lot-link", href: `/cans?lot=${encodeURIComponent(lot.lot)}`, text: `lot ${lot.lot}` }));
}

/**
 * eventRow names the day only where it is another than that of the row before.
 * @param {API.Event} e
 * @param {number} i
 * @param {API.Event[]} all
 */
function eventRow(e, i, all) {
  const at = i > 0 && day(all[i - 1]?.time ?? "") === day(e.time) ? timeOfDay(e.time) : dayTime(e.time);
  return h("li", {}, h("span", { class: "history-time", text: at }), h("span", { text: eventWords(e) }));
}

/**
 * How each kind of event is written.
 * @type {{ [K in API.Event["kind"]]?: (e: Extract<API.Event, { kind: K }>) => string }}
 */
const eventWriters = {
  "mix-started": () => "the mix began", recorded: () => "recorded as mixed by hand", "hardener-begun": () => "the hardener went in",
  confirmed: (e) => (e.part ? `${grams(e.added_g)} of ${e.part} poured` : `step ${e.step} done`), corrected: (e) => (e.undo ? "the last pour undone" : `the last pour was ${e.part}`),
  rested: () => "the rest is over", loaded: (e) => `onto ${e.press}`, unloaded: (e) => `off ${e.press}`, moved: (e) => `into zone ${e.zone}`, good: () => "somebody looked: it is good",
  split: (e) => (e.batch === id ? `poured off from ${e.from}` : `${grams(e.g)} split off as ${e.batch}`), "topped-up": (e) => (e.batch === id ? `${grams(e.g)} of ${e.from} poured in` : `poured into ${e.batch}`),
  thinned: (e) => `${grams(e.g)} of thinner added`, reweighed: (e) => `weighed again: ${grams(e.content_g)}`, tested: (e) => `test ${e.test}: ${e.result}`,
  "poured-from": (e) => `${e.part} came from can ${e.can}${e.lot ? `, lot ${e.lot}` : ""}`, "left-weighed": (e) => `${grams(e.left_g)} left, weighed on ${e.scale}`,
  closed: (e) => `closed: ${outcome(e.outcome)}`, abandoned: () => "given up",
};

// Names that are not shown: the bench itself, and its own computer while no PIN is set.
const unnamed = ["bench", "local"];

/** @param {API.Event} e */
function eventWords(e) {
  const write = /** @type {((e: API.Event) => string) | undefined} */ (eventWriters[e.kind]);
  const words = write?.(e) ?? e.kind;
  const why = ("override" in e && e.override) || ("can_override" in e && e.can_override);
  return `${words}${why ? `, because: ${why}` : ""}${unnamed.includes(e.by) ? "" : ` (${e.by})`}`;
}

/** @param {number} now */
function drawLife(now) {
  const row = page.store.get("batches", id);
  const ends = open && row ? parseEnds(row) : null;
  show(life, ends !== null);
  if (!row || !ends) return;
  const left = remaining(untilEnds(ends, now));
  setText(life, `About ${left.figure} left, ${left.band}: expected until ${clockTime(ends.expected, now)}, nine times in ten until ${clockTime(ends.low, now)}${row.quality === "good" ? "" : `. ${row.quality}: ${row.why}`}`);
}

page.start(() => {
  byId("batch").append(title, life, refusal, history);
  return (_, now) => {
    const row = page.store.get("batches", id);
    const stands = JSON.stringify([row?.state, row?.press, row?.components, row?.warnings, row?.step]);
    if (known !== undefined && stands !== known) load();
    known = stands;
    drawLife(now);
  };
});
setInterval(load, askMs);
