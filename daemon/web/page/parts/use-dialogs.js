// The questions about a batch in use: where it goes, what is poured from it or into it, how it
// was tested.
import { changeRow } from "../lib/api.js";
import { parseEnds, untilEnds } from "./axis.js";
import { ask, chips, field, fieldOf, figure, massField, massInput, pick, textOf } from "../lib/dialogs.js";
import { h, setText } from "../lib/dom.js";
import { grams, pipetteGrams, pipettes, remaining } from "../lib/format.js";
import { massOf, partsOf, pressesFor, zonesFor } from "./places.js";

/**
 * send makes a change and takes its answer in; it says so when that is not on disk.
 * @param {Page.Tools} tools
 * @param {API.BatchView} batch
 * @param {string} verb
 * @param {object} body
 */
async function send({ store, notify }, batch, verb, body) {
  const { onDisk } = await changeRow(store, "batches", `batches/${batch.id}/${verb}`, body);
  if (!onDisk) notify(`What you said of ${batch.id} is taken, but not yet on disk: a crash now would lose it.`);
}

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function moveDialog(batch, tools) {
  pick({
    title: `Where does ${batch.id} go?`,
    lead: "From now on it ages in the air of the place that you tap.",
    groups: [
      { legend: "Onto a press", options: pressesFor(tools.store, batch) },
      { legend: "Off the presses", options: zonesFor(tools.store) },
    ],
    submit: (where) => send(tools, batch, "move", where),
  });
}

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function splitDialog(batch, tools) {
  const places = [...pressesFor(tools.store, batch), ...zonesFor(tools.store)];
  ask({
    title: `Split ${batch.id}`,
    lead: `${grams(massOf(batch))} were mixed. The part that you pour off gets an id of its own, and is as old as the rest.`,
    body: [
      massField({ label: "Poured off", name: "grams", required: true }),
      chips({ legend: "Where the part goes", name: "place", options: places.map((p, i) => ({ ...p, value: String(i), label: p.value.zone ? `${p.label}, ${p.note}` : p.label, note: p.value.zone ? "" : p.note })) }),
    ],
    submitLabel: "Split it",
    submit(data) {
      const { exposure, replace, ...to } = places[Number(data.get("place"))].value;
      return send(tools, batch, "split", { grams: figure(data, "grams"), to, ...(exposure && { exposure }), ...(replace && { replace }) });
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
    return ends ? `${remaining(untilEnds(ends, now)).figure} left` : "";
  };
  const note = (/** @type {API.BatchView} */ b) => [`${grams(massOf(b))} mixed`, left(b), b.press && `comes off ${b.press}`].filter(Boolean).join(", ");
  pick({
    title: `What is poured into ${batch.id}?`,
    lead: others.length > 0
      ? "The life of the older one rules for the whole: fresh mix does not make old mix young. What you tap is used up by this. Ink without hardener is refused."
      : `No other batch of ${batch.ink} is open. Only a mix of the same ink with hardener in it can go in: ink without hardener is refused.`,
    groups: [{ legend: `Open batches of ${batch.ink}`, options: others.map((b) => ({ value: b.id, label: b.id, note: note(b) })) }],
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
  const mass = fieldOf(input, "Thinner", "g");
  const say = () => setText(inPipettes, Number(input.value) > 0 ? `${grams(Number(input.value))} is ${pipettes(Number(input.value))}.` : `One pipette is ${grams(pipetteGrams, 0)}.`);
  const quick = quickPipettes.map((n) => h("button", {
    type: "button", class: "big", text: n === 1 ? `1 pipette, ${grams(n * pipetteGrams, 0)}` : `${n} pipettes, ${grams(n * pipetteGrams, 0)}`,
    on: {
      click() {
        input.value = String(n * pipetteGrams);
        say();
      },
    },
  }));
  input.addEventListener("input", say);
  say();
  ask({
    title: `Thin ${batch.id}`,
    lead: "Thinner puts back what has evaporated. It does not renew the pot life.",
    body: [
      ...advice(batch, tools.store.get("inks", batch.ink)), h("div", { class: "quick" }, quick), mass, inPipettes,
      h("details", {}, h("summary", { text: "More than the ink takes" }),
        field({ label: "Reason", name: "override", type: "text", maxlength: 200, hint: "is kept with this batch" })),
    ],
    submitLabel: "It is in and stirred",
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
    const basis = t.basis === "weighed" ? "by weighing" : "by estimate";
    lines.push(`${grams(t.lost_g)} of thinner has gone ${basis}; ${t.add_g > 0 ? `up to ${grams(t.add_g)} may be put back` : "nothing needs to be put back"}.`);
  }
  if (ink) {
    const { ink: inkG, hardener, thinner } = partsOf(batch);
    if (inkG + hardener > 0) lines.push(`Poured so far: ${grams(thinner)}, which is ${((100 * thinner) / (inkG + hardener)).toFixed(1)}\u00a0% of ink and hardener; ${ink.id} takes up to ${ink.thinner_max_pct}\u00a0%.`);
  }
  return lines.map((text) => h("p", { text }));
}

/**
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function reweighDialog(batch, tools) {
  ask({
    title: `Weigh ${batch.id} again`,
    lead: "What is missing beyond the prints has evaporated. A weight is worth more than any estimate.",
    body: [h("div", { class: "pair" },
      massField({ label: "In the cup now", name: "content_g", required: true, hint: "without the cup" }),
      massField({ label: "Went out on prints", name: "taken_g", hint: "since it was weighed last; empty: nothing" }))],
    submitLabel: "That is what it weighs",
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
  const results = (/** @type {string} */ kind) => [{ label: "Passed", value: { kind, result: "pass" } }, { label: "Failed", value: { kind, result: "fail" } }];
  pick({
    title: `A test of what ${batch.id} printed`,
    lead: "It is kept with the batch. What a failed test means for the press is yours to decide.",
    groups: [{ legend: "Adhesion", options: results("adhesion") }, { legend: "Rub", options: results("rub") }],
    submit: (test) => send(tools, batch, "tests", test),
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
    { label: "Split it…", note: "over two presses, or into a jar", value: splitDialog },
    { label: "Top it up…", note: "from another open batch of the same ink", value: topUpDialog },
    { label: "Thin it…", note: "put back what has evaporated", value: thinDialog },
    { label: "Weigh it again…", note: "to know what has evaporated", value: reweighDialog },
    { label: "Log a test…", note: "adhesion, rub", value: testDialog },
    { label: "Its label", note: "with a code that leads to its page", value: (b) => location.assign(`/batches/${b.id}/label`) },
    { label: "Its page", note: "cans, lots, presses, all that happened", value: (b) => location.assign(`/batches/${b.id}`) },
  ];
  pick({
    title: `${batch.id}: what else?`,
    groups: [{ legend: `${batch.ink} ${batch.press ? `on ${batch.press}` : `in zone ${batch.zone}`}`, options: actions }],
    submit: async (dialog) => () => dialog(tools.store.get("batches", batch.id) ?? batch, tools), // as it is by now
  });
}
