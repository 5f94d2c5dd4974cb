// The questions about a can: what is in it, and since when is it open?
import { change } from "../lib/api.js";
import { isoDay } from "../lib/dates.js";
import { ask, chips, field } from "../lib/dialogs.js";
import { h } from "../lib/dom.js";

// materials are what the inks of the shop are made of, each once.
function materials(store) {
  const inks = store.all("inks");
  const once = (list) => [...new Set(list.filter(Boolean))];
  return [
    ...inks.map((i) => ({ part: "ink", id: i.id })),
    ...once(inks.map((i) => i.hardener)).map((id) => ({ part: "hardener", id })),
    ...once(inks.flatMap((i) => i.thinners ?? [])).map((id) => ({ part: "thinner", id })),
  ];
}

const text = (data, name) => String(data.get(name) ?? "").trim();

export function makeDialog({ store, tell }) {
  const options = materials(store).map((m) => ({ value: `${m.part}:${m.id}`, label: m.id, note: m.part }));
  ask({
    title: "Add a can",
    lead: "Write the id that it gets on the can.",
    body: [
      chips({ legend: "What is in it?", name: "holds", options }),
      h("div", { class: "pair" },
        field({ label: "Lot", name: "lot", type: "text", maxlength: 60, hint: "as printed on the can" }),
        field({ label: "Colour", name: "colour", type: "text", maxlength: 60 })),
      h("div", { class: "pair" },
        field({ label: "Opened on", name: "opened_on", type: "date", hint: "empty: not open yet" }),
        field({ label: "Last day", name: "use_by", type: "date", hint: "of its shelf life; may stay empty" })),
    ],
    submitLabel: "Add it",
    async submit(data) {
      const [part, id] = text(data, "holds").split(":");
      const body = { [part]: id };
      for (const name of ["lot", "colour", "opened_on", "use_by"]) if (text(data, name)) body[name] = text(data, name);
      const { answer } = await change("cans", body);
      if (!answer.id) return;
      store.put("cans", answer);
      tell(`It is ${answer.id}: write that on the can.`);
    },
  });
}

export function openedDialog(can, store) {
  ask({
    title: `Since when is ${can.id} open?`,
    body: [field({ label: "Opened on", name: "on", type: "date", required: true, value: can.opened_on ?? isoDay(store.clock.now()) })],
    submitLabel: "Since this day",
    async submit(data) {
      const { answer } = await change(`cans/${can.id}/opened`, { on: text(data, "on") });
      if (answer.id) store.put("cans", answer);
    },
  });
}
