// The open batches on the time axis, what dies first on top.
import { change } from "./api.js";
import { assumedMark } from "./assumed.js";
import { firstDying, parseEnds, place, span, ticks } from "./axis.js";
import { closeDialog, loadDialog } from "./batch-dialogs.js";
import { button, h, keyed, setText, show } from "./dom.js";
import { clockTime, duration, remaining, secondsUntil } from "./format.js";
import { overrideDialog } from "./mix-dialogs.js";

const tickWidth = 92; // px that a tick's label needs

export function batchesPanel(element, { store, say, tell }) {
  const marks = h("div", { class: "ticks", "aria-hidden": "true" });
  const head = h("div", { class: "axis-head" }, h("div", { class: "axis-place" }, marks));
  const list = h("ol", { class: "batches" });
  const none = h("p", { class: "quiet", text: "No batch is open." });
  const notes = h("ul", { class: "assumptions" });
  const key = h("p", { class: "axis-key" }, "Solid: it lasts this long 9 times in 10. Fading: it may end here. ",
    h("span", { class: "key-notch", "aria-hidden": "true" }), " expected end. ",
    h("span", { class: "key-next", "aria-hidden": "true" }), " begin the next mix.");
  element.append(h("h2", { text: "Open batches" }), none, h("div", { class: "axis" }, head, list), key, notes);
  return {
    update(now) {
      const rows = firstDying(store.all("batches").filter((b) => b.ends_at));
      show(none, rows.length === 0 && store.loaded.has("batches"));
      show(head, rows.length > 0);
      show(key, rows.length > 0);
      const length = span(rows, now);
      drawTicks(marks, now, length);
      keyed(list, rows, (row) => row.id, () => batchRow(store, say, tell));
      for (const part of list.keyedParts?.values() ?? []) part.draw(now, length);
      const inks = [...new Set(rows.map((b) => b.ink))].map((id) => store.get("inks", id)).filter((ink) => ink?.assumed);
      keyed(notes, inks, (ink) => ink.id, () => note());
    },
  };
}

function note() {
  const text = h("span");
  return {
    element: h("li", {}, h("span", { class: "assumed", text: "assumed" }), " ", text),
    update: (ink) => setText(text, `${ink.id}: ${ink.assumed}`),
  };
}

function drawTicks(marks, now, length) {
  const most = Math.max(2, Math.floor((marks.clientWidth || 600) / tickWidth));
  const rows = [{ at: now, text: "now", key: "now" }, ...ticks(now, length, most).map((at) => ({ at, text: clockTime(at, now), key: String(at) }))];
  keyed(marks, rows, (row) => row.key, () => {
    const label = h("span");
    const tick = h("div", { class: "tick" }, label);
    return {
      element: tick,
      update(row) {
        setText(label, row.text);
        tick.style.left = `${place(row.at, now, length) * 100}%`;
        tick.dataset.now = String(row.key === "now");
      },
    };
  });
}

function batchRow(store, say, tell) {
  const id = h("strong", { class: "batch-id" });
  const where = h("span", { class: "batch-where" });
  const mark = h("span");
  const left = h("span", { class: "batch-left" });
  const spread = h("span", { class: "batch-band" });
  const state = h("p", { class: "batch-state" });
  const next = h("p", { class: "batch-next" });
  const bar = lifeBar();
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  let batch;
  const post = (verb, body) => say(refusal, async () => {
    const { answer, onDisk } = await change(`batches/${batch.id}/${verb}`, body);
    if (answer.id) store.put("batches", answer);
    if (!onDisk) tell(`What you said of ${batch.id} is taken, but not yet on disk: a crash now would lose it.`);
  });
  const good = button("I looked: it is good", "small", () => post("good"));
  const load = button("Load…", "small", () => loadDialog(batch, store));
  const unload = button("It is off the press", "small", () => post("unload"));
  const accept = button("Accept its fault…", "small", () => overrideDialog((reason) => change(`batches/${batch.id}/confirm`, { step: "load", override: reason }), store));
  const close = button("Close…", "small", () => closeDialog(batch, store, tell));
  const element = h("li", { class: "batch" },
    h("div", { class: "batch-text" }, h("p", { class: "batch-line" }, id, where, mark), h("p", { class: "batch-estimate" }, left, spread), state, next),
    h("div", { class: "batch-life" }, bar.element, h("div", { class: "batch-actions" }, good, load, unload, accept, close), refusal));
  return {
    element,
    update(row) {
      batch = row;
      setText(id, row.id);
      setText(where, `${row.ink} ${row.press ? `on ${row.press}` : `in zone ${row.zone}`}${row.state === "open" ? "" : `, ${row.state}`}`);
      const note = assumedMark(store.get("inks", row.ink));
      if ((note === null) !== (mark.childElementCount === 0)) mark.replaceChildren(...(note ? [note] : []));
      const words = [
        row.quality !== "good" && `${row.quality}: ${row.why || "no cause given"}`,
        ...(row.warnings ?? []), row.on_disk === false && "not yet on disk",
      ].filter(Boolean);
      setText(state, words.join(" "));
      show(state, words.length > 0);
      element.dataset.quality = row.quality;
      for (const b of [good, load, unload, accept, close]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
      const mixing = row.state === "mixing";
      show(good, !mixing);
      show(close, !mixing);
      show(load, !mixing && !row.press);
      show(unload, Boolean(row.press));
      show(accept, row.state === "open" && row.warnings?.length > 0 && (!row.press || stopped(store, row)));
    },
    draw(now, length) {
      const ends = parseEnds(batch);
      const words = remaining({ expected: secondsUntil(ends.expected, now), low: secondsUntil(ends.low, now), high: secondsUntil(ends.high, now) });
      setText(left, words.figure);
      setText(spread, words.band);
      const begin = batch.next_mix_at ? Date.parse(batch.next_mix_at) : NaN;
      drawNext(next, begin, now);
      bar.draw(ends, begin, now, length);
      setText(bar.words, `${batch.id}: ${words.figure} left, ${words.band}`);
    },
  };
}

// stopped reports whether the light of the batch's press says not to print.
function stopped(store, batch) {
  return store.all("lights").some((l) => l.press === batch.press && l.meaning === "do-not-print");
}

function drawNext(element, begin, now) {
  show(element, Number.isFinite(begin));
  if (!Number.isFinite(begin)) return;
  const due = begin <= now;
  element.dataset.due = String(due);
  setText(element, due ? "Begin the next mix now" : `Next mix at ${clockTime(begin, now)}, in ${duration(secondsUntil(begin, now))}`);
}

// lifeBar is solid as far as low, fades out to high, and has a notch at the expected end.
function lifeBar() {
  const life = h("div", { class: "life" });
  const notch = h("div", { class: "notch" });
  const next = h("div", { class: "next-mark" });
  const beyond = h("div", { class: "beyond", text: "›" });
  const words = h("span", { class: "unseen" });
  const element = h("div", { class: "life-track" }, life, notch, next, beyond, words);
  return {
    element,
    words,
    draw(ends, begin, now, length) {
      const [low, expected, high] = [ends.low, ends.expected, ends.high].map((at) => place(at, now, length));
      life.style.width = `${high * 100}%`;
      life.style.setProperty("--solid", `${high > 0 ? (low / high) * 100 : 0}%`);
      notch.style.left = `${expected * 100}%`;
      show(notch, ends.expected > now && ends.expected <= now + length);
      show(beyond, ends.high > now + length);
      show(next, Number.isFinite(begin) && begin <= now + length);
      if (Number.isFinite(begin)) next.style.left = `${place(begin, now, length) * 100}%`;
    },
  };
}
