// The questions about a can: what is in it, and when it was opened.
import { changeRow } from "../lib/api.js";
import { isoDay } from "../lib/dates.js";
import { ask, chips, field, pick, textOf } from "../lib/dialogs.js";
import { h } from "../lib/dom.js";
import { say } from "../lib/words.js";
import { term } from "../parts/terms.js";

/**
 * materials lists what the inks of the shop are made of, each once.
 * @param {import("../lib/store.js").Store} store
 */
function materials(store) {
  const inks = store.all("inks");
  const once = (/** @type {(string | undefined)[]} */ list) => [...new Set(list.flatMap((id) => id || []))];
  return [
    ...inks.map((i) => ({ part: "ink", id: i.id })),
    ...once(inks.map((i) => i.hardener)).map((id) => ({ part: "hardener", id })),
    ...once(inks.flatMap((i) => i.thinners ?? [])).map((id) => ({ part: "thinner", id })),
  ];
}

/**
 * makeDialog asks for a new can.
 * @param {Pick<Page.Tools, "store" | "notify">} tools
 */
export function makeDialog({ store, notify }) {
  const options = materials(store).map((m) => ({ value: `${m.part}:${m.id}`, label: m.id, note: term("part", m.part) }));
  ask({
    title: say("cans.add-title"),
    lead: say("cans.add-lead"),
    body: [
      chips({ legend: say("cans.holds"), name: "holds", options }),
      h("div", { class: "pair" },
        field({ label: say("cans.lot-field"), name: "lot", type: "text", maxlength: 60, hint: say("cans.lot-hint") }),
        field({ label: say("cans.colour"), name: "colour", type: "text", maxlength: 60 })),
      h("div", { class: "pair" },
        field({ label: say("cans.opened-field"), name: "opened_on", type: "date", hint: say("cans.opened-hint") }),
        field({ label: say("cans.last-day-field"), name: "use_by", type: "date", hint: say("cans.last-day-hint") })),
    ],
    submitLabel: say("cans.add-it"),
    async submit(data) {
      const [part = "", id = ""] = textOf(data, "holds").split(":");
      const facts = ["lot", "colour", "opened_on", "use_by"].map((name) => [name, textOf(data, name)]).filter(([, text]) => text);
      const { answer } = await changeRow(store, "cans", "cans", { [part]: id, ...Object.fromEntries(facts) });
      if (answer.id) notify(say("cans.added", { can: answer.id }));
    },
  });
}

/**
 * openedDialog asks for the day on which a can was opened.
 * @param {API.CanView} can
 * @param {import("../lib/store.js").Store} store
 */
export function openedDialog(can, store) {
  ask({
    title: say("cans.opened-title", { can: can.id }),
    body: [field({ label: say("cans.opened-field"), name: "on", type: "date", required: true, value: can.opened_on ?? isoDay(store.clock.now()) })],
    submitLabel: say("cans.opened-it"),
    async submit(data) {
      await changeRow(store, "cans", `cans/${can.id}/opened`, { on: textOf(data, "on") });
    },
  });
}

/**
 * emptyDialog asks whether a can is empty. It can be taken back at the empty cans.
 * @param {API.CanView} can
 * @param {import("../lib/store.js").Store} store
 */
function emptyDialog(can, store) {
  ask({
    title: say("cans.empty-title", { can: can.id }),
    lead: say("cans.empty-lead"),
    submitLabel: say("cans.empty-it"),
    async submit() {
      await changeRow(store, "cans", `cans/${can.id}/emptied`, {});
    },
  });
}

/**
 * moreDialog offers what is rarely done with a can. find shows the batches that it is in.
 * @param {API.CanView} can
 * @param {import("../lib/store.js").Store} store
 * @param {(what: { can: string }) => unknown} find
 */
export function moreDialog(can, store, find) {
  /** @type {Page.Option<() => unknown>[]} */
  const options = [{ label: say("cans.trace"), note: say("cans.trace-note"), value: () => find({ can: can.id }) }];
  if (can.state !== "empty") {
    if (can.state !== "new") options.push({ label: say("cans.opened"), note: say("cans.opened-note"), value: () => openedDialog(can, store) });
    options.push({ label: say("cans.is-empty"), value: () => emptyDialog(can, store) });
  }
  pick({
    title: say("cans.more-title", { can: can.id }),
    groups: [{ legend: can.material, options }],
    submit: async (then) => then,
  });
}
