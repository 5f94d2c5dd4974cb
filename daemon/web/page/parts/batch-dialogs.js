// The questions about a batch: onto which press, how did it end, what was mixed by hand?
import { change } from "../lib/api.js";
import { lastFirst, remember } from "../lib/choices.js";
import { ask, chips, field, figure } from "../lib/dialogs.js";
import { h, show } from "../lib/dom.js";
import { leftPart } from "./left.js";

// loadDialog asks for the press. One that holds a batch says so, and choosing it takes that off.
export function loadDialog(batch, store) {
  const presses = store.all("presses");
  const options = presses.map((p) => ({ value: p.id, label: p.id, note: p.batch ? `holds ${p.batch}, which comes off` : "free" }));
  const chosen = batch.for_press ?? options.find((o) => o.note === "free")?.value;
  ask({
    title: `Onto which press goes ${batch.id}?`,
    body: [chips({ legend: "Press", name: "press", options, chosen })],
    submitLabel: "It is on this press",
    async submit(data) {
      const press = data.get("press");
      const body = { press, ...(presses.find((p) => p.id === press)?.batch && { replace: true }) };
      const { answer } = await change(`batches/${batch.id}/load`, body);
      if (answer.id) store.put("batches", answer);
    },
  });
}

const outcomes = [
  { value: "used-up", label: "Used up" }, { value: "discarded", label: "Thrown away" },
  { value: "went-off", label: "It went off" }, { value: "not-known", label: "Not known" },
];

// closeDialog asks how a batch ended. What is asked next depends on it: an ink that went off was
// seen to do so now or earlier, any other may still have been good.
export function closeDialog(batch, store, tell) {
  const good = chips({
    legend: "Was it still good?", name: "still_good", chosen: "unknown",
    options: [{ value: "yes", label: "Yes, I looked" }, { value: "no", label: "No" }, { value: "unknown", label: "Nobody looked" }],
  });
  const seen = chips({
    legend: "When did it go off?", name: "seen", chosen: "earlier",
    options: [{ value: "now", label: "Just now" }, { value: "earlier", label: "Earlier" }],
  });
  show(seen, false);
  const left = leftPart(batch, store);
  const outcome = chips({ legend: "How did it end?", name: "outcome", options: outcomes });
  outcome.addEventListener("change", (event) => {
    show(seen, event.target.value === "went-off");
    show(good, event.target.value !== "went-off");
  });
  ask({
    title: `Close ${batch.id}`,
    body: [outcome, good, seen, left.element],
    submitLabel: "Close it",
    async submit(data) {
      const off = data.get("outcome") === "went-off";
      const body = { outcome: data.get("outcome"), still_good: off ? "no" : data.get("still_good") };
      if (off) body.seen = data.get("seen");
      const { answer, onDisk } = await change(`batches/${batch.id}/close`, { ...body, ...left.body(data) });
      if (answer.id) store.put("batches", answer);
      if (!onDisk) tell(`${batch.id} is closed, but that is not yet on disk: a crash now would lose it.`);
    },
  });
}

// recordDialog asks for what was mixed without the guide.
export function recordDialog(store) {
  const inks = lastFirst("ink", store.all("inks").map((i) => i.id));
  const cups = [...new Set(store.all("presses").map((p) => p.cup))];
  const mass = (label, name, required) => field({ label, unit: "g", name, type: "number", min: 0, max: 100000, step: "any", inputmode: "decimal", required });
  ask({
    title: "Record a mix made by hand",
    lead: "Its life counts from when the hardener went in.",
    body: [
      chips({ legend: "Ink", name: "ink", options: inks.map((id) => ({ value: id, label: id })), chosen: inks[0] }),
      cups.length > 1 && chips({ legend: "Cup", name: "cup", options: cups.map((c) => ({ value: c, label: c })), chosen: cups[0] }),
      h("div", { class: "pair" },
        field({ label: "Hardener went in", unit: "minutes ago", name: "minutes", type: "number", min: 0, max: 10080, step: "any", inputmode: "numeric", required: true })),
      h("div", { class: "pair" }, mass("Ink", "ink_g", true), mass("Hardener", "hardener_g", true), mass("Thinner", "thinner_g", false)),
    ],
    submitLabel: "Record it",
    async submit(data) {
      const components = ["ink", "hardener", "thinner"]
        .map((part) => ({ part, g: figure(data, `${part}_g`) })).filter((c) => c.g > 0);
      const mixedAt = new Date(store.clock.now() - figure(data, "minutes") * 60_000).toISOString();
      const cup = data.get("cup") ?? cups[0];
      const { answer } = await change("batches", { ink: data.get("ink"), mixed_at: mixedAt, ...(cup && { cup }), components });
      remember("ink", String(data.get("ink")));
      if (answer.id) store.put("batches", answer);
    },
  });
}
