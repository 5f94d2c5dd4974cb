// The press board: each press with what stands on it, on one time axis, what dies first on top.
// Batches that stand elsewhere are on it too: they are what comes next.
import { change } from "./api.js";
import { unseen } from "./alarms.js";
import { parseEnds, reach } from "./axis.js";
import { pick } from "./dialogs.js";
import { button, h, keyed, setText, show } from "./dom.js";
import { age, secondsUntil } from "./format.js";
import { axisHead, axisKey, drawLife, lifeBar } from "./life.js";
import { meaningWords, sign } from "./signs.js";
import { othersBatches } from "./others.js";
import { batchActions, stillThere } from "./use.js";

const oldAfterSeconds = 40; // a batch is sent anew every ten seconds; one this old says so

// boardRows are the places of the board in their order: a press without a batch that must not
// go on first, then what dies first, then the rest.
export function boardRows(presses, batches) {
  // A batch says itself where it stands: its row comes by the stream, and a press's does not.
  const on = new Map(batches.filter((b) => b.press).map((b) => [b.press, b]));
  const rows = presses.map((press) => ({ key: `press:${press.id}`, name: press.id, press, batch: on.get(press.id) }));
  const shown = new Set(rows.map((row) => row.batch));
  for (const batch of batches) {
    if (batch.ends_at && !shown.has(batch)) rows.push({ key: `batch:${batch.id}`, name: batch.press ?? `zone ${batch.zone}`, batch });
  }
  const urgent = ["do-not-print", "act", "unknown"];
  const rank = (row) => (row.batch?.ends_at ? 1 : urgent.includes(row.press?.meaning) ? 0 : 2);
  const end = (row) => (row.batch?.ends_at ? parseEnds(row.batch) : { low: 0, expected: 0 });
  return rows.sort((a, b) => rank(a) - rank(b) || end(a).low - end(b).low || end(a).expected - end(b).expected || a.key.localeCompare(b.key));
}

export function boardPanel(element, tools) {
  const { store } = tools;
  const scale = axisHead();
  const list = h("ol", { class: "board" });
  const none = h("p", { class: "quiet", text: "No press is set up." });
  const own = h("h2", { class: "board-bench", text: "This bench" });
  element.append(own, none, h("div", { class: "board-axis" }, scale.element, list), axisKey());
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
  const name = h("h2", { class: "board-name" });
  const lamp = lampPart();
  const batchLine = h("p", { class: "board-batch" });
  const state = h("p", { class: "batch-state" });
  const left = h("p", { class: "board-left" });
  const spread = h("p", { class: "board-band" });
  const next = h("p", { class: "board-next batch-next" });
  const bar = lifeBar();
  const actions = batchActions(tools);
  const press = pressActions(tools, actions.refusal);
  let row;
  const element = h("li", { class: "board-row" },
    h("div", { class: "board-press" }, lamp.shape, h("div", { class: "board-words" }, name, lamp.word, lamp.reason), press.element),
    h("div", { class: "board-life" }, batchLine, state, bar.element, actions.element, actions.refusal),
    h("div", { class: "board-figures" }, left, spread, next));
  const drawBatch = (batch, now, length) => {
    const lives = Boolean(batch?.ends_at);
    for (const part of [left, spread, bar.element]) show(part, lives);
    if (!lives) return show(next, false);
    drawLife({ left, spread, next, bar }, batch, now, length);
  };
  return {
    element,
    update(given) {
      row = given;
      const { batch } = row;
      setText(name, row.name);
      element.dataset.place = row.press ? "press" : "zone";
      element.dataset.quality = batch?.quality ?? "none";
      setText(batchLine, batch ? `${batch.id} · ${batch.ink}${aside(row)}` : waiting(store, row.press));
      show(batchLine, batchLine.textContent !== "");
      actions.update(batch);
      press.update(row);
    },
    draw(now, length, contact) {
      const { batch } = row;
      lamp.draw(row, contact);
      drawBatch(batch, now, length);
      const old = batch ? -secondsUntil(Date.parse(batch.time), now) : 0;
      const words = batch ? [
        stillThere(batch, now),
        batch.quality !== "good" && `${batch.quality}: ${batch.why || "no cause given"}`,
        ...(batch.warnings ?? []), batch.on_disk === false && "not yet on disk", old > oldAfterSeconds && `as it was ${age(old)}`,
      ].filter(Boolean) : [];
      setText(state, words.join(" "));
      show(state, words.length > 0);
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

// lampPart is a press's light: shape, word and reason. Without contact nothing is known of it.
export function lampPart() {
  const shape = h("div", { class: "lamp board-lamp" }, h("span", { class: "lamp-shape" }));
  const word = h("p", { class: "board-word" });
  const reason = h("p", { class: "board-reason" });
  let drawn = "";
  return {
    shape,
    word,
    reason,
    draw({ press, batch }, contact) {
      show(shape, Boolean(press));
      show(reason, Boolean(press));
      if (!press) return setText(word, batch.press ? "" : "not on a press");
      const meaning = contact ? press.meaning : "unknown";
      const flashes = contact && press.flashing;
      if (drawn !== meaning) shape.firstElementChild.replaceChildren(sign((drawn = meaning)));
      shape.dataset.flashing = String(flashes);
      setText(word, meaningWords(meaning));
      setText(reason, contact ? [press.reason, flashes && "flashing"].filter(Boolean).join(", ") : "no contact with the bench");
      show(reason, reason.textContent !== "");
    },
  };
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
