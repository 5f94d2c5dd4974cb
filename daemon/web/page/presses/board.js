// The press board: each press with its batch, on one time axis, in the order of the configuration. Batches
// that are on no press stand below: they come next.
import { change, changeRow } from "../lib/api.js";
import { notAcknowledged } from "../parts/alarms.js";
import { sharedSpan } from "../parts/axis.js";
import { care } from "../parts/care.js";
import { boardRows, placeRow } from "./rows.js";
import { pick } from "../lib/dialogs.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { age, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { axisHead, axisKey, nextIs } from "../parts/life.js";
import { lookFirst } from "../parts/load.js";
import { lifeNote, pastSafe } from "../parts/safe.js";
import { rejectsPart } from "./defects.js";
import { othersBatches } from "./others.js";
import { qualityWords } from "../parts/terms.js";
import { batchActions, stillThere } from "../parts/use.js";

/** @typedef {import("./rows.js").PlaceRow<API.PressView, API.BatchView>} PlaceRow */

const oldAfterSeconds = 40; // a batch is sent again every ten seconds; an older row shows its age

/**
 * boardPanel shows them.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 */
export function boardPanel(element, tools) {
  const { store } = tools;
  const scale = axisHead();
  const list = h("ol", { class: "board" });
  const none = h("p", { class: "quiet", text: say("board.none") });
  const own = h("h2", { class: "board-bench", text: say("board.own") });
  const key = axisKey();
  const next = h("p", { class: "board-nothing" });
  element.append(own, none, next, h("div", { class: "board-axis" }, scale.element, list), h("p", { class: "aid", text: say("care.aid") }), key);
  return {
    /**
     * @param {number} now
     * @param {boolean} contact
     */
    update(now, contact) {
      const rows = boardRows(store.all("presses"), store.all("batches"));
      show(none, rows.length === 0 && store.loaded.has("presses"));
      const length = sharedSpan(store, now, othersBatches(store));
      // Without a batch there is nothing to read on an axis: what comes next is said instead.
      const lives = rows.some((row) => row.batch?.ends_at);
      for (const part of [scale.element, key]) show(part, lives);
      show(next, !lives && rows.length > 0);
      if (!lives) setText(next, comesNext(store));
      show(own, store.all("neighbours").length > 0);
      for (const part of keyed(list, rows, (row) => row.key, () => boardRow(tools))) part.draw(now, length, contact);
      scale.draw(now, length);
    },
  };
}

/**
 * comesNext writes what is to be done while no batch has an end.
 * @param {import("../lib/store.js").Store} store
 */
function comesNext(store) {
  const coming = store.all("batches").filter((b) => b.state === "mixing");
  if (coming.length === 0) return say("board.nothing");
  return coming.map((b) => (b.for_press ? say("board.coming-for", { batch: b.id, press: b.for_press }) : say("board.coming", { batch: b.id }))).join(" ");
}

/** @param {Page.Tools} tools */
function boardRow(tools) {
  const { store } = tools;
  const actions = batchActions(tools);
  const press = pressActions(tools, actions.refusal);
  const rejects = rejectsPart(tools);
  const part = placeRow("h2", [press.element], [actions.element, actions.refusal]);
  part.element.append(rejects.element);
  /** @type {PlaceRow} */
  let row;
  return {
    element: part.element,
    update(/** @type {PlaceRow} */ given) {
      row = given;
      part.place(row);
      actions.update(row.batch);
      press.update(row);
      rejects.update(row.press);
    },
    /**
     * @param {number} now
     * @param {number} length
     * @param {boolean} contact
     */
    draw(now, length, contact) {
      const { press, batch } = row;
      part.light.draw(row, now, contact);
      part.life(batch?.ends_at ? batch : null, now, length, true, batch && nextIs(store, batch));
      const old = batch ? -secondsUntil(Date.parse(batch.time), now) : 0;
      const words = batch ? [
        // The reason of the light tells it of a batch on a press.
        !press && batch.ratio_reason && say("batch.out-of-ratio", { why: batch.ratio_reason }),
        stillThere(batch, now),
        qualityWords(batch),
        ...(batch.warnings ?? []), batch.on_disk === false && say("board.not-on-disk"), old > oldAfterSeconds && say("board.old", { age: age(old) }),
      ].filter(Boolean) : [];
      part.write(batch ? `${batch.id} · ${batch.ink}${aside(row)}` : press ? waiting(store, press) : "", words.join(" "));
    },
  };
}

/**
 * aside writes what the press beside a batch does not tell.
 * @param {PlaceRow} row
 */
function aside({ press, batch }) {
  if (!batch) return "";
  const words = [
    batch.state === "resting" && say("board.rests"), batch.state === "mixing" && say("board.mixing"),
    !press && batch.for_press && say("board.for", { press: batch.for_press }),
  ].filter(Boolean);
  return words.length > 0 ? `, ${words.join(", ")}` : "";
}

/**
 * waiting names the mixes that are meant for a press without one.
 * @param {import("../lib/store.js").Store} store
 * @param {API.PressView} press
 */
function waiting(store, press) {
  const coming = store.all("batches").filter((b) => b.for_press === press.id && !b.press);
  const now = store.clock.now();
  const words = (/** @type {API.BatchView} */ b) => (b.state === "mixing" ? "board.mixed-for-it" : pastSafe(b, now) ? "board.look-first" : "board.waits-for-it");
  return coming.map((b) => say(words(b), { batch: b.id, ink: b.ink })).join("; ");
}

/**
 * pressActions makes the buttons of a press, beside those of its batch: acknowledge, load, lift the
 * stop.
 * @param {Page.Tools} tools
 * @param {HTMLElement} refusal
 */
function pressActions(tools, refusal) {
  const { store, attempt, notify } = tools;
  /** @type {PlaceRow} */
  let row;
  const alarmsOf = () => store.all("alarms").filter((a) => notAcknowledged(a) && [row.press?.id, row.batch?.id, lightOf()?.batch].includes(a.subject));
  const lightOf = () => store.all("lights").find((l) => l.press === row.press?.id);
  const acknowledge = button(say("alarms.acknowledge"), "small", () => attempt(refusal, async () => {
    for (const alarm of alarmsOf()) {
      const { onDisk } = await changeRow(store, "alarms", `alarms/${alarm.name}/${alarm.subject}/acknowledge`);
      if (!onDisk) notify(say("board.ack-not-on-disk", { press: row.name }));
    }
  }));
  // A batch that went off is closed and has no row, so the stop that it caused is lifted here.
  const lift = button(say("use.unload"), "small", () => attempt(refusal, () => change(`batches/${lightOf()?.batch}/unload`)));
  const load = button(say("use.load"), "small", () => row.press && pickBatch(row.press, tools));
  const gelled = care(say("care.gelled"));
  const element = h("div", { class: "batch-actions" }, gelled, acknowledge, load, lift);
  return {
    element,
    update(/** @type {PlaceRow} */ given) {
      row = given;
      for (const b of [acknowledge, lift, load]) b.setAttribute("aria-label", `${b.textContent} (${row.name})`);
      const ready = store.all("batches").filter(loadable);
      show(acknowledge, alarmsOf().length > 0);
      show(load, Boolean(row.press) && !row.batch && ready.length > 0);
      show(gelled, row.press?.cause === "reported-gone-off");
      show(lift, row.press?.meaning === "do-not-print" && !row.batch && Boolean(lightOf()?.batch));
      show(element, [acknowledge, load, lift].some((b) => !b.hidden));
    },
  };
}

/**
 * loadable tells whether a batch can be put on a press.
 * @param {API.BatchView} batch
 */
const loadable = (batch) => batch.state !== "mixing" && !batch.press && batch.ends_at;

/**
 * pickBatch asks which cup was put on a press; that meant for it comes first.
 * @param {API.PressView} press
 * @param {Page.Tools} tools
 */
function pickBatch(press, tools) {
  const { store } = tools;
  const now = store.clock.now();
  const meant = (/** @type {API.BatchView} */ b) => b.for_press === press.id;
  const rows = store.all("batches").filter(loadable).sort((a, b) => Number(meant(b)) - Number(meant(a)) || a.id.localeCompare(b.id));
  pick({
    title: say("board.which-cup", { press: press.id }),
    caution: say("care.lid"),
    groups: [{ legend: say("board.without-press"), options: rows.map((b) => ({ value: b.id, label: b.id, note: [meant(b) ? say("board.meant", { ink: b.ink }) : b.ink, lifeNote(b, now)].filter(Boolean).join(", ") })) }],
    async submit(id) {
      const load = (/** @type {import("../parts/load.js").Looked} */ looked) => changeRow(store, "batches", `batches/${id}/load`, { press: press.id, ...looked });
      const batch = store.get("batches", id);
      if (batch && pastSafe(batch, now)) return () => lookFirst(batch, tools, load);
      await load({});
    },
  });
}
