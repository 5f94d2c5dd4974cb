// The questions about a batch: how it ended, what was mixed by hand.
import { changeRow, list } from "../lib/api.js";
import { lastFirst, remember } from "../lib/choices.js";
import { ask, chips, field, figure, massField, textOf } from "../lib/dialogs.js";
import { h, show } from "../lib/dom.js";
import { say } from "../lib/words.js";
import { care } from "./care.js";
import { leftPart } from "./left.js";
import { term } from "./terms.js";

const outcomes = () => [
  { value: "used-up", label: say("close.used-up") }, { value: "discarded", label: say("close.discarded") },
  { value: "went-off", label: say("close.went-off"), note: say("close.went-off-note") }, { value: "not-known", label: say("close.not-known") },
];

/**
 * closeDialog asks how a batch ended. The next question depends on that: for an ink that went off,
 * when it was seen; for any other, whether it was still good.
 * @param {API.BatchView} batch
 * @param {Page.Tools} tools
 */
export function closeDialog(batch, { store, notify }) {
  const good = chips({
    legend: say("close.good"), name: "still_good", chosen: "unknown",
    options: [{ value: "yes", label: say("close.yes") }, { value: "no", label: say("close.no") }, { value: "unknown", label: say("close.not-checked") }],
  });
  const seen = chips({
    legend: say("close.when"), name: "seen", chosen: "earlier",
    options: [{ value: "now", label: say("close.now") }, { value: "earlier", label: say("close.earlier") }],
  });
  show(seen, false);
  const gelled = care(say("care.gelled"));
  show(gelled, false);
  const left = leftPart(batch, store);
  const outcome = chips({ legend: say("close.how"), name: "outcome", options: outcomes() });
  outcome.addEventListener("change", (event) => {
    const how = event.target instanceof HTMLInputElement ? event.target.value : "";
    const off = how === "went-off";
    left.wanted(how === "discarded");
    show(seen, off);
    show(gelled, off);
    show(good, !off);
  });
  ask({
    title: say("close.title", { batch: batch.id }),
    body: [outcome, gelled, good, seen, left.element],
    submitLabel: say("close.it"),
    async submit(data) {
      const off = data.get("outcome") === "went-off";
      const body = { outcome: data.get("outcome"), still_good: off ? "no" : data.get("still_good"), ...(off && { seen: data.get("seen") }) };
      const { onDisk } = await changeRow(store, "batches", `batches/${batch.id}/close`, { ...body, ...left.body(data) });
      if (!onDisk) notify(say("close.not-on-disk", { batch: batch.id }));
    },
  });
}

const parts = ["ink", "hardener", "thinner"];

/**
 * recordDialog asks for what was mixed without the guide. Cans are asked for where some are registered.
 * @param {import("../lib/store.js").Store} store
 */
export function recordDialog(store) {
  /** @type {API.CanView[]} */
  let known = [];
  const inks = lastFirst("ink", store.all("inks").map((i) => i.id));
  const presses = store.all("presses").map((p) => ({ value: p.id, label: p.id, note: p.cup }));
  const cups = [...new Set(store.all("presses").map((p) => p.cup))];
  const cup = chips({ legend: say("record.cup"), name: "cup", options: cups.map((c) => ({ value: c, label: c })), chosen: cups[0] });
  const ink = chips({ legend: say("record.ink"), name: "ink", options: inks.map((id) => ({ value: id, label: id })), chosen: inks[0] });
  const press = chips({ legend: say("record.for"), name: "press", options: [...presses, { value: "", label: say("record.no-press") }], chosen: "" });
  const from = h("div", { class: "pair" });
  const drawCans = (/** @type {string} */ id) => from.replaceChildren(...parts.flatMap((part) => {
    const material = { ink: id, hardener: store.get("inks", id)?.hardener }[part];
    const cans = known.filter((c) => c.part === part && c.state !== "empty" && (material === undefined || c.material === material));
    return cans.length === 0 ? [] : [chips({
      legend: say("record.can", { part: term("part", part) }), name: `${part}_can`, required: false, chosen: cans.find((c) => c.state === "in-use")?.id,
      options: cans.map((c) => ({ value: c.id, label: c.id, note: c.lot ? say("cans.lot", { lot: c.lot }) : "" })),
    })];
  }));
  ink.addEventListener("change", (event) => event.target instanceof HTMLInputElement && drawCans(event.target.value));
  press.addEventListener("change", (event) => show(cup, cups.length > 1 && event.target instanceof HTMLInputElement && event.target.value === ""));
  show(cup, cups.length > 1);
  // Without an answer the cans stay unnamed.
  list("cans").then((rows) => {
    known = rows;
    const chosen = ink.querySelector("input:checked");
    if (chosen instanceof HTMLInputElement) drawCans(chosen.value);
  }, () => {});
  ask({
    title: say("record.title"),
    lead: say("record.lead"),
    body: [
      ink, press, cup,
      chips({ legend: say("bench.colour"), name: "colour_class", required: false, options: ["dark", "light", "heavy-light"].map((value) => ({ value, label: term("colour", value) })) }),
      h("div", { class: "pair" },
        field({ label: say("record.hardener-in"), unit: say("record.minutes-ago"), name: "minutes", type: "number", min: 0, max: 10080, step: "any", inputmode: "numeric", required: true })),
      h("div", { class: "pair" },
        massField({ label: say("record.ink"), name: "ink_g", required: true }), massField({ label: say("record.hardener"), name: "hardener_g", required: true }), massField({ label: say("record.thinner"), name: "thinner_g" })),
      from,
    ],
    submitLabel: say("record.it"),
    async submit(data) {
      const components = parts.map((part) => ({ part, g: figure(data, `${part}_g`) ?? 0, ...(textOf(data, `${part}_can`) && { can: textOf(data, `${part}_can`) }) })).filter((c) => c.g > 0);
      const mixedAt = new Date(store.clock.now() - (figure(data, "minutes") ?? 0) * 60_000).toISOString();
      const [onto, colour] = [textOf(data, "press"), textOf(data, "colour_class")];
      const into = onto ? { press: onto } : data.get("cup") ? { cup: data.get("cup") } : {};
      await changeRow(store, "batches", "batches", { ink: data.get("ink"), mixed_at: mixedAt, ...into, ...(colour && { colour_class: colour }), components });
      remember("ink", textOf(data, "ink"));
    },
  });
}
