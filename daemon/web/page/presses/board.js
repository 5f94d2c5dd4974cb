// The press board: each press with what stands on it, on one time axis, what dies first on top.
// Batches that stand elsewhere are on it too: they are what comes next.
import { change } from "../lib/api.js";
import { unseen } from "../parts/alarms.js";
import { reach } from "../parts/axis.js";
import { boardRows, placeRow } from "./rows.js";
import { pick } from "../lib/dialogs.js";
import { button, h, keyed, show } from "../lib/dom.js";
import { age, secondsUntil } from "../lib/format.js";
import { axisHead, axisKey } from "../parts/life.js";
import { othersBatches } from "./others.js";
import { batchActions, stillThere } from "../parts/use.js";

const oldAfterSeconds = 40; // a batch is sent anew every ten seconds; one this old says so

export function boardPanel(element, tools) {
  const { store } = tools;
  const scale = axisHead();
  const list = h("ol", { class: "board" });
  const none = h("p", { class: "quiet", text: "No press is set up." });
  const own = h("h2", { class: "board-bench", text: "This bench" });
  const key = axisKey();
  element.append(own, none, h("div", { class: "board-axis" }, scale.element, list), key);
  return {
    update(now, contact) {
      const rows = boardRows(store.all("presses"), store.all("batches"));
      show(none, rows.length === 0 && store.loaded.has("presses"));
      const length = reach(store, now, othersBatches(store));
      show(own, store.all("neighbours").length > 0);
      keyed(list, rows, (row) => row.key, () => boardRow(tools));
      for (const part of list.keyedParts?.values() ?? []) part.draw(now, length, contact);
      scale.draw(now, length);
    },
  };
}

function boardRow(tools) {
  const { store } = tools;
  const actions = batchActions(tools);
  const press = pressActions(tools, actions.refusal);
  const part = placeRow("h2", [press.element], [actions.element, actions.refusal]);
  let row;
  return {
    element: part.element,
    update(given) {
      row = given;
      part.place(row);
      actions.update(row.batch);
      press.update(row);
    },
    draw(now, length, contact) {
      const { batch } = row;
      part.lamp.draw(row, contact);
      part.life(batch?.ends_at ? batch : null, now, length, true);
      const old = batch ? -secondsUntil(Date.parse(batch.time), now) : 0;
      const words = batch ? [
        stillThere(batch, now),
        batch.quality !== "good" && `${batch.quality}: ${batch.why || "no cause given"}`,
        ...(batch.warnings ?? []), batch.on_disk === false && "not yet on disk", old > oldAfterSeconds && `as it was ${age(old)}`,
      ].filter(Boolean) : [];
      part.say(batch ? `${batch.id} · ${batch.ink}${aside(row)}` : waiting(store, row.press), words.join(" "));
    },
  };
}

// aside says of a batch what the press beside it does not.
function aside({ press, batch }) {
  const words = [
    batch.state === "resting" && "still rests", batch.state === "mixing" && "is being mixed",
    !press && batch.for_press && `for ${batch.for_press}`,
  ].filter(Boolean);
  return words.length > 0 ? `, ${words.join(", ")}` : "";
}

// waiting names the mixes that are meant for a press without one.
function waiting(store, press) {
  const coming = store.all("batches").filter((b) => b.for_press === press.id && !b.press);
  return coming.map((b) => `${b.id} · ${b.ink} ${b.state === "mixing" ? "is being mixed for it" : "waits for it"}`).join("; ");
}


// pressActions are what is done at a press beyond its batch: acknowledge, load, lift the stop.
function pressActions({ store, say, tell }, refusal) {
  let row;
  const alarmsOf = () => store.all("alarms").filter((a) => unseen(a) && [row.press?.id, row.batch?.id, lightOf()?.batch].includes(a.subject));
  const lightOf = () => row.press && store.all("lights").find((l) => l.press === row.press.id);
  const acknowledge = button("Acknowledge", "small", () => say(refusal, async () => {
    for (const alarm of alarmsOf()) {
      const { answer, onDisk } = await change(`alarms/${alarm.name}/${alarm.subject}/acknowledge`);
      if (answer.name) store.put("alarms", answer);
      if (!onDisk) tell(`That ${row.name} was acknowledged is not yet on disk: a crash now would lose it.`);
    }
  }));
  // What went off is closed, so no batch's own row could lift the stop that it left behind.
  const lift = button("The cup is off the press", "small", () => say(refusal, () => change(`batches/${lightOf().batch}/unload`)));
  const load = button("Load…", "small", () => pickBatch(row.press, store));
  const element = h("div", { class: "batch-actions" }, acknowledge, load, lift);
  return {
    element,
    update(given) {
      row = given;
      for (const b of [acknowledge, lift, load]) b.setAttribute("aria-label", `${b.textContent} (${row.name})`);
      const ready = store.all("batches").filter(loadable);
      show(acknowledge, alarmsOf().length > 0);
      show(load, Boolean(row.press) && !row.batch && ready.length > 0);
      show(lift, row.press?.meaning === "do-not-print" && !row.batch && Boolean(lightOf()?.batch));
      show(element, [acknowledge, load, lift].some((b) => !b.hidden));
    },
  };
}

const loadable = (batch) => batch.state !== "mixing" && !batch.press && batch.ends_at;

// pickBatch asks which cup was put on a press; that meant for it comes first.
function pickBatch(press, store) {
  const meant = (b) => b.for_press === press.id;
  const rows = store.all("batches").filter(loadable).sort((a, b) => meant(b) - meant(a) || a.id.localeCompare(b.id));
  pick({
    title: `Which cup is on ${press.id}?`,
    groups: [{ legend: "Open batches without a press", options: rows.map((b) => ({ value: b.id, label: b.id, note: meant(b) ? `${b.ink}, meant for it` : b.ink })) }],
    async submit(id) {
      const { answer } = await change(`batches/${id}/load`, { press: press.id });
      if (answer.id) store.put("batches", answer);
    },
  });
}
