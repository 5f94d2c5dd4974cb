// The page of one batch, to which the code on its label leads: what was poured, from which cans, how
// long it lives, where it was, what happened to it. Of a batch that is closed, a test of a print is recorded here.
import { get, list, Refused } from "../lib/api.js";
import { day, dayTime, timeOfDay } from "../lib/dates.js";
import { button, h, setText, show } from "../lib/dom.js";
import { refusalLine, showRefusal } from "../lib/refusal.js";
import { clockTime, grams, percent, ratioWords, remaining, spentWords } from "../lib/format.js";
import { byId, live } from "../lib/live.js";
import { picture } from "../lib/picture.js";
import { parseEnds, untilEnds } from "../parts/axis.js";
import { say } from "../lib/words.js";
import { kindOf, outcome, stays } from "../parts/history.js";
import { closedTestDialog } from "../parts/tests.js";
import { lifeHelp } from "../parts/life.js";
import { firstEnd, qualityWords, term } from "../parts/terms.js";

const id = decodeURIComponent(location.pathname.split("/")[2] ?? "");
const seq = new URLSearchParams(location.search).get("seq");
const askMs = 30_000;
const earlyShare = 0.25; // of the pot life; before it a print does not fail from age

const page = live({ kinds: ["batches"], needs: [load] });
const title = h("h2", { class: "batch-head", words: say("batch.title", { batch: id }) });
const life = h("p", { class: "batch-page-life" });
const history = h("div", { class: "history" });
const drawn = picture(0.7, 380);
const refusal = refusalLine();
document.title = `potlifed: ${say("batch.title", { batch: id })}`;
let open = false; // whether the batch that is shown is open, so that the row tells its life
/** @type {string | undefined} */
let known; // what the row said when it was last looked at

// load resolves to whether there was an answer.
async function load() {
  try {
    /** @type {API.History} */
    const b = await get(`batches/${encodeURIComponent(id)}/history${seq ? `?seq=${encodeURIComponent(seq)}` : ""}`);
    const kinds = b.defects ? await kindWords() : {};
    open = b.state !== "closed";
    const of = open && b.mixed_at ? await bandOf() : null;
    show(refusal, false);
    history.replaceChildren(...historyParts(b, kinds, of));
    if (b.mixed_at) await drawn.load(`batches/${encodeURIComponent(id)}/picture${seq ? `?seq=${encodeURIComponent(seq)}` : ""}`);
    return true;
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    showRefusal(refusal, error.status === 404 ? new Refused(say("batch.unknown", { batch: id }), 404) : error);
    if (error.status !== 0) history.replaceChildren(); // else what was shown stays, with the note above it
    return error.status !== 0;
  }
}

/**
 * bandOf returns where the width of the band comes from; null where the bench cannot tell.
 * @returns {Promise<API.Band | null>}
 */
async function bandOf() {
  try {
    return await get(`batches/${encodeURIComponent(id)}/band`);
  } catch (error) {
    if (error instanceof Refused && (error.status === 404 || error.status === 409)) return null;
    throw error;
  }
}

/**
 * bandPart shows where the width of the band comes from, and what would make it narrower.
 * @param {API.Band} of
 */
function bandPart(of) {
  const rows = (of.parts ?? []).map((p, i) => ({ name: of.names?.[i] ?? p.part, share: p.share })).filter((p) => p.share >= 0.005);
  const bar = (/** @type {number} */ share) => {
    const full = h("span", { class: "band-bar", "aria-hidden": "true" });
    full.style.inlineSize = `${Math.round(100 * share)}%`;
    return full;
  };
  return [
    h("p", { class: "quiet", text: say("batch.band-about") }),
    h("table", { class: "band-parts" },
      h("caption", { class: "unseen", text: say("batch.band") }),
      h("tbody", {}, rows.map((p) => h("tr", {}, h("th", { scope: "row", text: p.name }), h("td", { class: "band-share" }, bar(p.share), h("span", { text: percent(100 * p.share) })))))),
    of.advice && h("p", { text: of.advice }),
  ];
}

/**
 * kindWords returns the names of the kinds of defect by their ids.
 * @returns {Promise<Record<string, string>>}
 */
async function kindWords() {
  const [press] = await list("presses");
  return Object.fromEntries((press?.defects ?? []).map((d) => [d.kind, d.words]));
}

/**
 * rejects writes how many prints were rejected, by kind of defect, the most frequent first.
 * @param {API.History} b
 * @param {Record<string, string>} kinds
 */
function rejects(b, kinds) {
  const rows = Object.entries(b.defects ?? {}).sort(([, a], [, z]) => z - a);
  if (rows.length === 0) return null;
  const sum = rows.reduce((total, [, n]) => total + n, 0);
  return h("p", { text: `${say("history.rejects", { n: sum })}: ${rows.map(([kind, n]) => `${kinds[kind] ?? kind} ${n}`).join(", ")}` });
}

/**
 * historyParts makes the parts of the page.
 * @param {API.History} b
 * @param {Record<string, string>} kinds names of the kinds of defect
 * @param {API.Band | null} of where the width of its band comes from
 */
function historyParts(b, kinds, of) {
  const part = (/** @type {string} */ heading, /** @type {(Page.Child | Page.Child[])[]} */ ...body) => h("section", { class: "history-part" }, h("h3", { text: heading }), ...body);
  const facts = [
    [kindOf(b), b.cup && say("batch.in", { cup: b.cup })].filter(Boolean).join(", "),
    b.mixed_at ? say("batch.mixed", { at: dayTime(b.mixed_at) }) : say("batch.no-hardener"),
    b.closed_at && [say("batch.ended", { at: dayTime(b.closed_at), outcome: outcome(b.outcome) }), b.left_g !== undefined && say("batch.left", { mass: grams(b.left_g) })].filter(Boolean).join(", "),
  ].flatMap((fact) => fact || []);
  const events = b.events ?? [];
  const [tests, flows, presses] = [b.tests ?? [], b.flow_times ?? [], b.presses ?? []];
  return [
    part(say("batch.what"), facts.map((words) => h("p", { words })), (b.warnings ?? []).map((text) => h("p", { class: "can-stir warn", words: text }))),
    part(say("batch.poured"), h("ul", { class: "history-list" }, (b.poured ?? []).map((c) => pouredRow(c, b.lots ?? []))), [...askedOf(b), ratioWords(b.ratio)].filter(Boolean).map((text) => h("p", { text }))),
    splitOff(b) && part(b.state === "closed" ? say("batch.was-in-it") : say("batch.in-it"), h("ul", { class: "history-list" }, inIt(b).map(([name, g]) => h("li", {}, h("strong", { text: grams(g) }), ` ${term("part", name)}`)))),
    part(say("batch.where"), stays(b), presses.length > 1 && h("p", { text: say("batch.altogether", { n: b.prints }) }), rejects(b, kinds)),
    (tests.length > 0 || testable(b)) && part(say("batch.tests"), h("ul", { class: "history-list" }, tests.map((t) => h("li", { text: `${dayTime(t.at)}: ${testWords(t)}` }))),
      testable(b) && h("div", {}, button(say("tests.of-closed"), "big", () => closedTestDialog(b, load)))),
    flows.length > 0 && part(say("batch.flow-times"), h("ul", { class: "history-list" }, flows.map((f) => flowRow(f, of)))),
    b.trend && part(say("trends.title"), ...trendPart(b.trend, of)),
    of && part(say("batch.band"), ...bandPart(of)),
    part(say("batch.events"), h("ol", { class: "history-list" }, events.map(eventRow))),
    b.state !== "closed" && b.mixed_at && h("p", {}, h("a", { class: "big-link", href: `/batches/${encodeURIComponent(id)}/label`, text: say("batch.label") })),
  ].flatMap((shown) => shown || []);
}

/**
 * testable tells whether a print of the batch may be tested yet: it is closed, and a mix was made.
 * @param {API.History} b
 */
const testable = (b) => b.state === "closed" && Boolean(b.mixed_at);

/**
 * testWords tells a test, and how old the mix was where that is known.
 * @param {API.Test} t
 */
function testWords(t) {
  const words = { test: term("test", t.kind), result: term("result", t.result) };
  if (!t.printed_at) return say("batch.test", words);
  const early = t.result === "fail" && (t.spent ?? 0) < earlyShare && say("batch.test-early");
  return [say("batch.test-printed", { ...words, printed: dayTime(t.printed_at), spent: spentWords(t.spent ?? 0) }), early].filter(Boolean).join(". ");
}

/**
 * runsWords lists the flow times of the runs of one sample.
 * @param {number[] | null} runs in s
 */
const runsWords = (runs) => (runs ?? []).map((s) => `${s} ${say("flow-time.seconds")}`).join(", ");

/**
 * flowCupWords names a flow cup.
 * @param {string} cup
 */
function flowCupWords(cup) {
  const [standard, number] = cup.split("-");
  return standard === "iso" ? say("flow-time.iso", { number }) : say("flow-time.ford", { number });
}

/**
 * flowRow is a flow time of the batch, with the reason where it counts for less than a sure one.
 * @param {API.Flow} f
 * @param {API.Band | null} of the batch's band, while it is open
 */
function flowRow(f, of) {
  const text = say("batch.flow-time", { time: runsWords(f.runs_s), cup: flowCupWords(f.cup), viscosity: Math.round(f.viscosity_mm2_s), spent: spentWords(f.spent) });
  const counted = of && (of.flow_times ?? []).find((one) => one.seq === f.seq);
  const single = f.agree ? "" : say("batch.flow-time-single");
  const why = !of ? single : counted ? counted.why : say("batch.flow-time-older");
  return h("li", {}, `${dayTime(f.at)}: ${text}`, why && h("p", { text: why }));
}

/**
 * trendPart is what an instrument that follows the batch has said, and how far it counts.
 * @param {API.Trend} t
 * @param {API.Band | null} of the batch's band, while it is open
 */
function trendPart(t, of) {
  const rows = (t.samples ?? []).map((one) => h("li", { text: `${dayTime(one.at)}: ${say(one.begin ? "trends.sample-begin" : "trends.sample", { pct: Math.round(100 * Math.exp(one.sample.ln_runs?.[0] ?? 0)), spent: spentWords(one.spent) })}` }));
  return [of?.trend && h("p", { words: of.trend.why }), h("p", { class: "quiet", text: say("trends.about") }), h("ul", { class: "history-list" }, rows)].flatMap((shown) => shown || []);
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
 * askedOf writes what the recipe asked for, nothing where it is not known. The recipe follows the ink that is in the
 * cup: where that is another mass than was asked for at first, both are told.
 * @param {API.History} b
 */
function askedOf(b) {
  const parts = partsOf(b.targets_g);
  if (!parts) return [];
  const events = b.events ?? [];
  const started = events.find((e) => e.kind === "mix-started");
  const recipe = started?.mix?.recipe;
  if (!recipe || Math.abs(recipe.ink_target_g - b.targets_g.ink) < sameG) return [say("batch.asked", { parts })];
  const ink = recipe.ink_target_g;
  const hardener = ink / inkPerHardener(recipe);
  const corrected = events.some((e) => e.kind === "confirmed" && corrects(e));
  return [
    say("batch.asked-first", { parts: partsOf({ ink, hardener, thinner: recipe.thinner_pct / 100 * (ink + hardener) }) }),
    say(corrected ? "batch.asked-corrected" : "batch.asked-for-ink", { parts }),
  ];
}

const sameG = 0.05; // masses that differ by less are shown alike

/**
 * partsOf lists target masses; empty where none is known.
 * @param {API.Targets} targets
 */
function partsOf({ ink, hardener, thinner }) {
  const parts = Object.entries({ ink, hardener, thinner });
  return parts.filter(([, g]) => g > 0).map(([part, g]) => `${grams(g)} ${term("part", part)}`).join(", ");
}

/** @param {API.EventRecipe} recipe */
const inkPerHardener = (recipe) => Number(recipe.ratio.split(":")[0]);

/**
 * corrects tells whether a pour that was confirmed put another one right: it is of another part than its step asks for.
 * @param {API.EventConfirmed} e
 */
const corrects = (e) => Boolean(e.part) && e.part !== e.step;

/**
 * pourWords writes a pour that was confirmed, and what was wrong with it where its step is not done with it.
 * @param {API.EventConfirmed} e
 */
function pourWords(e) {
  const words = { mass: grams(e.added_g), part: term("part", e.part ?? ""), step: term("part", e.step) };
  if (corrects(e)) return say("event.poured-correction", words);
  if (e.next !== e.step) return say("event.poured", words);
  return say(tooMuch(e) ? "event.poured-too-much" : "event.poured-too-little", words);
}

/**
 * tooMuch tells whether what is in the cup after a pour has more of its part than the recipe asks for.
 * @param {API.EventConfirmed} e
 */
function tooMuch({ part, mix }) {
  const of = (/** @type {string} */ name) => (mix.pours ?? []).reduce((sum, p) => sum + (p.part === name ? p.g : 0), 0);
  if (part === "hardener") return of("hardener") > of("ink") / inkPerHardener(mix.recipe);
  if (part === "thinner") return of("thinner") > mix.recipe.thinner_pct / 100 * (of("ink") + of("hardener"));
  return of("ink") > mix.recipe.ink_target_g;
}

/**
 * @param {API.Component} c
 * @param {API.LotView[]} lots
 */
function pouredRow(c, lots) {
  const lot = lots.find((l) => l.can === c.can && l.part === c.part);
  const of = { part: term("part", c.part), can: c.can ?? "" };
  const from = !c.can ? say("batch.no-can", { part: of.part }) : lot?.assumed ? say("batch.from-assumed", of) : say("batch.from", of);
  return h("li", {}, h("strong", { text: grams(c.g) }), " ", h("span", { words: from }), lot?.lot && h("a", { class: "lot-link", href: `/cans?lot=${encodeURIComponent(lot.lot)}`, text: say("cans.lot", { lot: lot.lot }) }));
}

/**
 * eventRow names the day only where it is another than that of the row before.
 * @param {API.Event} e
 * @param {number} i
 * @param {API.Event[]} all
 */
function eventRow(e, i, all) {
  const same = i > 0 && day(all[i - 1]?.time ?? "") === day(e.time);
  const at = same ? timeOfDay(e.time) : dayTime(e.time);
  return h("li", { class: same ? "" : "history-day" }, h("span", { class: "history-time", text: at }), h("span", { words: eventWords(e) }));
}

/**
 * How each kind of event is written.
 * @type {{ [K in API.Event["kind"]]?: (e: Extract<API.Event, { kind: K }>) => string }}
 */
const eventWriters = {
  "mix-started": () => say("event.mix-started"),
  "taken-up": (e) => say(e.recognised ? "event.recognised" : "event.taken-up", { scale: e.scale }),
  "pour-over-begun": (e) => (e.undo ? say("event.pour-over-undone") : say("event.pour-over-begun", { cup: e.to ?? "" })),
  "poured-over": (e) => say("event.poured-over", { from: e.from, to: e.to, lost: grams(e.lost_g) }),
  undone: () => say("event.act-undone"),
  recorded: () => say("event.recorded"),
  "hardener-begun": () => say("event.hardener-begun"),
  confirmed: (e) => (e.part ? pourWords(e) : stepWords(e.step)),
  corrected: (e) => {
    if (e.undo) return say("event.undone");
    const part = term("part", e.part);
    return e.not_taken ? say("event.poured", { mass: grams(e.g), part }) : say("event.relabelled", { part });
  },
  rested: () => say("event.rested"),
  loaded: (e) => say("event.loaded", { press: e.press }),
  unloaded: (e) => say("event.unloaded", { press: e.press }),
  moved: (e) => say("event.moved", { zone: e.zone }),
  good: () => say("event.good"),
  split: (e) => (e.batch === id ? say("event.split-from", { batch: e.from }) : say("event.split", { mass: grams(e.g), batch: e.batch })),
  "topped-up": (e) => (e.batch === id ? say("event.topped-up", { mass: grams(e.g), batch: e.from }) : say("event.poured-into", { batch: e.batch })),
  thinned: (e) => say("event.thinned", { mass: grams(e.g) }),
  reweighed: (e) => say("event.reweighed", { mass: grams(e.content_g) }),
  "trend-taken": (e) => say("event.trend-taken", { trend: e.instrument }),
  "flow-timed": (e) => say("event.flow-timed", { time: runsWords(e.runs_s), cup: flowCupWords(e.cup) }),
  tested: (e) => say("event.tested", { test: term("test", e.test), result: term("result", e.result) }),
  "poured-from": (e) => say("event.poured-from", { part: term("part", e.part), can: e.can }) + (e.lot ? `, ${say("cans.lot", { lot: e.lot })}` : ""),
  "left-weighed": (e) => say("event.left-weighed", { mass: grams(e.left_g), scale: e.scale }),
  closed: (e) => say("event.closed", { outcome: outcome(e.outcome) }),
  abandoned: () => say("event.abandoned"),
};

/** @type {Record<string, Words.Key>} */
const stepsDone = { cup: "event.cup-on", "pour-over": "event.cup-on", "stir-hardener": "event.hardener-stirred", "stir-thinner": "event.thinner-stirred" };

/** @param {string} step */
function stepWords(step) {
  const key = stepsDone[step];
  return key ? say(key) : say("event.step", { step: term("step", step) });
}

// Names that are not shown: the bench itself, and its own computer while no PIN is set.
const unnamed = ["bench", "local"];

/** @param {API.Event} e */
function eventWords(e) {
  const write = /** @type {((e: API.Event) => string) | undefined} */ (eventWriters[e.kind]);
  const words = write?.(e) ?? e.kind;
  const why = ("override" in e && e.override) || ("can_override" in e && e.can_override);
  return `${words}${why ? `, ${say("event.because", { why: String(why) })}` : ""}${unnamed.includes(e.by) ? "" : ` (${e.by})`}`;
}

/** @param {number} now */
function drawLife(now) {
  const row = page.store.get("batches", id);
  const ends = open && row ? parseEnds(row) : null;
  show(life, ends !== null);
  if (!row || !ends) return;
  const left = remaining(untilEnds(ends, now));
  const until = { left: left.figure, band: left.band, expected: clockTime(ends.expected, now), safe: clockTime(ends.low, now) };
  setText(life, [ends.high <= now ? say("batch.past", until) : say("batch.life", until), firstEnd(row), qualityWords(row)].filter(Boolean).join(" "));
}

page.start(() => {
  byId("batch").append(title, life, h("p", {}, lifeHelp()), refusal, drawn.element, history);
  return (_, now) => {
    const row = page.store.get("batches", id);
    const stands = JSON.stringify([row?.state, row?.press, row?.components, row?.warnings, row?.step]);
    if (known !== undefined && stands !== known) load();
    known = stands;
    drawLife(now);
  };
});
setInterval(load, askMs);
