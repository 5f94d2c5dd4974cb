// What the board is made of, for the presses of this bench and of others: the rows, their
// order, and a press's light.
import { parseEnds } from "../parts/axis.js";
import { h, setText, show } from "../lib/dom.js";
import { drawLife, lifeBar } from "../parts/life.js";
import { meaningWords, sign } from "../lib/signs.js";

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

// lampPart is a press's light: shape, word and reason. Without contact nothing is known of it.
function lampPart() {
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

// placeRow makes a row of the board: light and name, the batch on its axis, the figures. What
// may be done stands beside the press and below the life.
export function placeRow(heading, besidePress = [], belowLife = []) {
  const name = h(heading, { class: "board-name" });
  const lamp = lampPart();
  const batchLine = h("p", { class: "board-batch" });
  const state = h("p", { class: "batch-state" });
  const left = h("p", { class: "board-left" });
  const spread = h("p", { class: "board-band" });
  const next = h("p", { class: "board-next batch-next" });
  const bar = lifeBar();
  const element = h("li", { class: "board-row" },
    h("div", { class: "board-press" }, lamp.shape, h("div", { class: "board-words" }, name, lamp.word, lamp.reason), besidePress),
    h("div", { class: "board-life" }, batchLine, state, bar.element, belowLife),
    h("div", { class: "board-figures" }, left, spread, next));
  return {
    element, lamp,
    place(row) {
      setText(name, row.name);
      element.dataset.place = row.press ? "press" : "zone";
      element.dataset.quality = row.batch?.quality ?? "none";
    },
    say(batchWords, stateWords) {
      for (const [part, words] of [[batchLine, batchWords], [state, stateWords]]) {
        setText(part, words);
        show(part, words !== "");
      }
    },
    // life draws what is left of a batch; nothing for null. The next mix is this bench's to begin.
    life(batch, now, length, plansNext) {
      for (const part of [left, spread, bar.element]) show(part, batch !== null);
      if (batch) drawLife({ left, spread, next, bar }, batch, now, length);
      if (!batch || !plansNext) show(next, false);
    },
  };
}
