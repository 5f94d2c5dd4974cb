// The mixes that wait while another is weighed, or while nothing is: a short row, one tap takes
// one up again. And the question whose cup stands on the scale, where its weight does not tell.
import { change } from "../lib/api.js";
import { loadDialog } from "../parts/batch-dialogs.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { countdown, grams, secondsUntil } from "../lib/format.js";
import { overrideDialog } from "../parts/mix-dialogs.js";

const stirs = (batch) => batch.step === "stir-hardener" || batch.step === "stir-thinner";

// nextWord says what a waiting mix waits for.
export function nextWord(batch, now) {
  if (batch.step === "rest") {
    const left = batch.rest_until ? secondsUntil(Date.parse(batch.rest_until), now) : 0;
    return left > 0 ? `rests, ${countdown(left)}` : "has rested";
  }
  if (batch.step === "load") return batch.for_press ? `ready for ${batch.for_press}` : "ready for a press";
  if (stirs(batch)) return "being stirred";
  return `waits for ${batch.step === "cup" ? "its cup" : batch.step}`;
}

// waitingRow makes the row. A mix in it that is not set aside is the one on the scale, behind the
// form for the next one; back brings it back.
export function waitingRow({ store, say, back }) {
  const list = h("ul", { class: "waiting-list" });
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const element = h("section", { class: "waiting", "aria-label": "Mixes that wait", hidden: true }, h("h2", { text: "Waiting" }), list, refusal);
  return {
    element,
    update(batches, now) {
      keyed(list, batches, (b) => b.id, () => waitingCard({ store, say, back, refusal }));
      for (const part of list.keyedParts?.values() ?? []) part.tick(now);
      show(element, batches.length > 0);
      if (batches.length === 0) show(refusal, false);
    },
  };
}

function waitingCard({ store, say, back, refusal }) {
  const name = h("strong");
  const state = h("span");
  let batch;
  const post = (verb, body) => say(refusal, async () => {
    const { answer } = await change(`batches/${batch.id}/${verb}`, body);
    if (answer.id) store.put("batches", answer);
  });
  // A cup of another weight is taken up with a reason only.
  const takeUp = async () => {
    await post("take-up");
    if (refusal.hidden || refusal.dataset.code !== "other-weight") return;
    const lead = refusal.textContent;
    show(refusal, false);
    overrideDialog((override) => change(`batches/${batch.id}/take-up`, { override }), store, { title: `Is it the cup of ${batch.id}?`, lead, reasons: cupReasons });
  };
  const up = button("Take it up", "small", () => {
    if (batch.state !== "mixing") return loadDialog(batch, store);
    return batch.aside ? takeUp() : back();
  });
  const stirred = button("It is stirred in", "small", () => post("confirm", { step: batch.step }));
  const element = h("li", { class: "waiting-card" }, h("p", { class: "waiting-words" }, name, state), h("div", { class: "waiting-actions" }, up, stirred));
  return {
    element,
    update(row) {
      batch = row;
      setText(name, row.id);
      const mixing = row.state === "mixing";
      setText(up, !mixing ? "Load…" : row.aside ? "Take it up" : "Back to it");
      show(stirred, mixing && stirs(row));
      for (const b of [up, stirred]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
    tick(now) {
      const weighs = batch.cup_weighs_g === undefined ? "" : `, cup about ${grams(batch.cup_weighs_g, 0)}`;
      setText(state, `${batch.ink}, ${nextWord(batch, now)}${batch.state === "mixing" ? weighs : ""}`);
    },
  };
}

const cupReasons = ["A stirring stick stands in it", "Some of it was spilled", "The scale was tared or zeroed"];

// cupQuestion asks whose cup stands on the scale.
export function cupQuestion({ store, say }) {
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const choices = h("div", { class: "actions" });
  const element = h("section", { class: "mix which-cup", "aria-label": "Whose cup is it?", hidden: true },
    h("h2", { class: "mix-head", "aria-live": "assertive", text: "Whose cup is on the scale?" }),
    h("p", { class: "mix-hint", text: "Its weight does not tell. Nothing is confirmed until you say; if it is none of these, lift it off." }), choices, refusal);
  return {
    element,
    update(scale) {
      const asked = scale?.which_cup ?? [];
      show(element, asked.length > 0);
      keyed(choices, asked.map((id) => ({ id, batch: store.get("batches", id) })), (row) => row.id, ({ id }) => {
        const b = button("", "big main", () => say(refusal, async () => {
          const { answer } = await change(`batches/${id}/take-up`);
          if (answer.id) store.put("batches", answer);
        }));
        return { element: b, update: ({ batch }) => setText(b, batch ? `${id}, ${batch.ink}` : id) };
      });
      if (asked.length === 0) show(refusal, false);
    },
  };
}
