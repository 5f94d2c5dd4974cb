// The questions about a batch in use: where it goes, what is poured from it or into it, how it
// was tested.
import { changeRow } from "../lib/api.js";
import { parseEnds } from "./axis.js";
import { loadOnto, lookFirst } from "./load.js";
import { care, sheetLinks } from "./care.js";
import { ask, chips, field, figure, massField, massInput, pick, steppedMass, temperature, temperatureField, textOf } from "../lib/dialogs.js";
import { h, phrase, setText } from "../lib/dom.js";
import { grams, percent, pipetteGrams, pipettes } from "../lib/format.js";
import { lifeWords } from "./life.js";
import { say } from "../lib/words.js";
import { massOf, partsOf, pressesFor, zonesFor } from "./places.js";
import { goesOn, pastSafe } from "./safe.js";
import { testChips } from "./tests.js";

/**
 * send makes a change and takes its answer in; it says so when that is not on disk.
 * @param {Page.Tools} tools
 * @param {API.BatchView} batch
 * @param {string} verb
 * @param {object} body
 */
async function send({ store, notify }, batch, verb, body) {
  const { onDisk } = await changeRow(store, "batches", `batches/${batch.id}/${verb}`, body);
  if (!onDisk) notify(say("use.not-on-disk", { batch: batch.id }));
}

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function moveDialog(batch, tools) {
  pick({
    title: say("move.title", { batch: batch.id }),
    lead: [goesOn(batch, tools.store.clock.now()), say("move.lead")].filter(Boolean).join(" "),
    caution: say("care.lid"),
    groups: [
      { legend: say("move.presses"), options: pressesFor(tools.store, batch) },
      { legend: say("move.zones"), options: zonesFor(tools.store) },
    ],
    // What comes off is asked about, as when a mix is loaded, and a batch past its time is looked at.
    async submit(where) {
      const press = where.press;
      if (!press) return send(tools, batch, "move", where);
      if (where.replace) return () => lookFirst(batch, tools, (looked) => loadOnto(batch, press, tools.store, looked));
      if (!pastSafe(batch, tools.store.clock.now())) return send(tools, batch, "move", where);
      return () => lookFirst(batch, tools, (looked) => send(tools, batch, "move", { ...where, ...looked }));
    },
  });
}

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function splitDialog(batch, tools) {
  const places = [...pressesFor(tools.store, batch), ...zonesFor(tools.store)];
  const has = Math.max(0, massOf(batch) - (batch.thinner?.lost_g ?? 0));
  const input = h("input", { name: "grams", required: true, ...massInput });
  const stays = h("p", { class: "quiet", role: "status" });
  const tell = () => {
    const left = has - Number(input.value);
    setText(stays, left > 0 ? say("split.stays", { batch: batch.id, left: grams(left) }) : say("split.too-much", { batch: batch.id, mass: grams(has) }));
  };
  input.addEventListener("input", tell);
  tell();
  ask({
    title: say("split.title", { batch: batch.id }),
    lead: [say("split.lead", { batch: batch.id, mass: grams(has) }), goesOn(batch, tools.store.clock.now())].filter(Boolean).join(" "),
    body: [
      steppedMass(input, say("split.poured-off")), stays,
      care(say("care.lid")),
      chips({ legend: say("split.where"), name: "place", options: places.map((p, i) => ({ ...p, value: String(i), label: p.value.zone ? `${p.label}, ${p.note}` : p.label, note: p.value.zone ? "" : p.note })) }),
    ],
    submitLabel: say("split.it"),
    submit(data) {
      const { exposure, replace, ...to } = places[Number(data.get("place"))].value;
      const body = { grams: figure(data, "grams"), to, ...(exposure && { exposure }), ...(replace && { replace }) };
      if (!to.press || !pastSafe(batch, tools.store.clock.now())) return send(tools, batch, "split", body);
      lookFirst(batch, tools, (looked) => send(tools, batch, "split", { ...body, ...looked }));
    },
  });
}

/**
 * topUpDialog offers the open batches of the same ink. Those without hardener are not offered,
 * and the bench refuses them.
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function topUpDialog(batch, tools) {
  const now = tools.store.clock.now();
  const others = tools.store.all("batches").filter((b) => b.id !== batch.id && b.ink === batch.ink && b.state !== "mixing");
  const left = (/** @type {API.BatchView} */ b) => {
    const ends = parseEnds(b);
    if (!ends) return "";
    const words = lifeWords(ends, now);
    return [words.lead, words.figure].filter(Boolean).join(" ");
  };
  const note = (/** @type {API.BatchView} */ b) => [say("top-up.mixed", { mass: grams(massOf(b)) }), left(b), b.press && say("top-up.comes-off", { press: b.press })].filter(Boolean).join(", ");
  pick({
    title: say("top-up.title", { batch: batch.id }),
    lead: others.length > 0 ? say("top-up.lead") : say("top-up.none", { ink: batch.ink }),
    caution: say("care.flammable"),
    groups: [{ legend: say("top-up.batches", { ink: batch.ink }), options: others.map((b) => ({ value: b.id, label: b.id, note: note(b) })) }],
    submit: (from) => send(tools, batch, "top-up", { from }),
  });
}

const quickPipettes = [1, 2, 3];

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function thinDialog(batch, tools) {
  const inPipettes = h("p", { class: "quiet", role: "status" });
  const input = h("input", { name: "grams", required: true, ...massInput });
  const mass = steppedMass(input, say("thin.thinner"));
  const tell = () => setText(inPipettes, Number(input.value) > 0
    ? say("thin.mass", { mass: grams(Number(input.value)), pipettes: pipettes(Number(input.value)) }) : say("thin.pipette", { mass: grams(pipetteGrams, 0) }));
  const quick = quickPipettes.map((n) => h("button", {
    type: "button", class: "big", text: say("thin.quick", { n, mass: grams(n * pipetteGrams, 0) }),
    on: {
      click() {
        input.value = String(n * pipetteGrams);
        tell();
      },
    },
  }));
  input.addEventListener("input", tell);
  tell();
  const sheets = sheetLinks();
  sheets.update(tools.store.get("inks", batch.ink), "thinner");
  ask({
    title: say("thin.title", { batch: batch.id }),
    lead: say("thin.lead"),
    body: [
      care(say("care.flammable")), sheets.element,
      ...advice(batch, tools.store.get("inks", batch.ink)), h("div", { class: "quick" }, quick), mass, inPipettes,
      h("details", {}, h("summary", { text: say("thin.more") }),
        field({ label: say("dialog.reason"), name: "override", type: "text", maxlength: 200, hint: say("thin.kept") })),
    ],
    submitLabel: say("thin.it"),
    submit(data) {
      const reason = textOf(data, "override");
      return send(tools, batch, "thin", { grams: figure(data, "grams"), ...(reason && { override: reason }) });
    },
  });
}

/**
 * advice says what has gone from the cup and may be put back, as far as the bench knows; it is
 * an estimate unless the cup was weighed.
 * @param {API.BatchView} batch
 * @param {API.InkView | undefined} ink
 */
function advice(batch, ink) {
  const t = batch.thinner;
  /** @type {string[]} */
  const lines = [];
  if (t) {
    const lost = { lost: grams(t.lost_g) };
    lines.push(t.basis === "weighed" ? say("thin.lost-weighed", lost) : say("thin.lost-estimated", lost));
    lines.push(t.add_g > 0 ? say("thin.put-back", { most: grams(t.add_g) }) : say("thin.nothing-back"));
  }
  if (ink) {
    const { ink: inkG, hardener, thinner } = partsOf(batch);
    if (inkG + hardener > 0) lines.push(say("thin.so-far", { mass: grams(thinner), share: percent((100 * thinner) / (inkG + hardener), 1), ink: ink.id, most: percent(ink.thinner_max_pct) }));
  }
  return lines.map((text) => phrase("p", {}, text));
}

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function reweighDialog(batch, tools) {
  ask({
    title: say("reweigh.title", { batch: batch.id }),
    lead: say("reweigh.lead"),
    body: [h("div", { class: "pair" },
      massField({ label: say("reweigh.in-cup"), name: "content_g", required: true, hint: say("reweigh.without-cup") }),
      massField({ label: say("reweigh.printed"), name: "taken_g", hint: say("reweigh.since") }))],
    submitLabel: say("reweigh.it"),
    submit(data) {
      const taken = figure(data, "taken_g");
      return send(tools, batch, "reweigh", { content_g: figure(data, "content_g"), ...(taken !== undefined && { taken_g: taken }) });
    },
  });
}

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function testDialog(batch, tools) {
  ask({
    title: say("tests.title", { batch: batch.id }),
    lead: say("tests.lead"),
    body: [
      ...testChips(),
      field({ label: say("tests.printed"), unit: say("tests.minutes-ago"), name: "minutes", type: "number", min: 0, step: 1, inputmode: "numeric", hint: say("tests.printed-hint") }),
    ],
    submitLabel: say("tests.it"),
    submit(data) {
      const minutes = figure(data, "minutes");
      const printed = minutes !== undefined && { printed_at: new Date(tools.store.clock.now() - minutes * 60_000).toISOString() };
      return send(tools, batch, "tests", { kind: data.get("kind"), result: data.get("result"), ...printed });
    },
  });
}

/** The flow cups that the bench knows, with the words for them. */
const flowCups = [...["1", "2", "3", "4", "5"].map((number) => ({ value: `ford-${number}`, label: say("flow-time.ford", { number }) })),
  ...["3", "4", "5", "6"].map((number) => ({ value: `iso-${number}`, label: say("flow-time.iso", { number }) }))];

/**
 * flowTimeDialog asks for the flow time of a batch.
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function flowTimeDialog(batch, tools) {
  const run = { unit: say("flow-time.seconds"), type: "number", min: 1, max: 1000, step: "any", inputmode: "decimal" };
  ask({
    title: say("flow-time.title", { batch: batch.id }),
    lead: say("flow-time.lead"),
    body: [
      chips({ legend: say("flow-time.cup"), name: "cup", options: flowCups }),
      h("div", { class: "pair" },
        field({ ...run, label: say("flow-time.first"), name: "seconds", required: true }),
        field({ ...run, label: say("flow-time.second"), name: "second_run_s", hint: say("flow-time.second-hint") })),
      temperatureField({ label: say("flow-time.temperature"), name: "ink_temperature_c", min: -20, max: 80, hint: say("flow-time.temperature-hint") }),
    ],
    submitLabel: say("flow-time.it"),
    submit(data) {
      const [second, celsius] = [figure(data, "second_run_s"), temperature(data, "ink_temperature_c")];
      return send(tools, batch, "flow-time", { cup: data.get("cup"), seconds: figure(data, "seconds"), ...(second !== undefined && { second_run_s: second }), ...(celsius !== undefined && { ink_temperature_c: celsius }) });
    },
  });
}

/**
 * moreDialog offers the rarer actions, so that only the usual ones have buttons of their own.
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function moreDialog(batch, tools) {
  /** @type {Page.Option<(batch: API.BatchView, tools: Page.Tools) => void>[]} */
  const actions = [
    { label: say("more.split"), note: say("more.split-note"), value: splitDialog },
    { label: say("more.top-up"), note: say("more.top-up-note"), value: topUpDialog },
    { label: say("more.thin"), note: say("more.thin-note"), value: thinDialog },
    { label: say("more.reweigh"), note: say("more.reweigh-note"), value: reweighDialog },
    { label: say("more.flow-time"), note: say("more.flow-time-note"), value: flowTimeDialog },
    { label: say("more.test"), note: say("more.test-note"), value: testDialog },
    { label: say("more.label"), note: say("more.label-note"), value: (b) => location.assign(`/batches/${b.id}/label`) },
    { label: say("more.page"), note: say("more.page-note"), value: (b) => location.assign(`/batches/${b.id}`) },
  ];
  pick({
    title: say("more.title", { batch: batch.id }),
    groups: [{ legend: batch.press ? say("more.on", { ink: batch.ink, press: batch.press }) : say("more.in", { ink: batch.ink, zone: batch.zone }), options: actions }],
    submit: async (dialog) => () => dialog(tools.store.get("batches", batch.id) ?? batch, tools), // as it is by now
  });
}
