// The guided mix: one thing to do, the bar, and the ways out when something went wrong.
import { change } from "../lib/api.js";
import { pourBar } from "./bar.js";
import { correctionWords, firstPart } from "./corrections.js";
import { abandonDialog, relabelDialog, overrideDialog } from "../parts/mix-dialogs.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { clockTime, duration, ratioWords, secondsUntil } from "../lib/format.js";
import { pourFromPart } from "./pour-from.js";
import { ahead, careFor, instruction, shortName, stepsOf } from "./steps.js";

const unheard = "There is no fresh weight to go by. See to the scale; the mix waits, and what was poured is kept.";

export function mixPanel({ store, say }) {
  const title = h("p", { class: "mix-title" });
  const steps = h("ol", { class: "steps", "aria-label": "Steps of this mix" });
  const head = h("h2", { class: "mix-head", "aria-live": "polite" });
  const hint = h("p", { class: "mix-hint" });
  const care = h("p", { class: "care-now" });
  const bar = pourBar();
  const corrections = correctionsPart();
  const warnings = h("ul", { class: "warnings" });
  const next = h("p", { class: "next" });
  let batch;
  const actions = mixActions({ store, say }, () => batch, corrections.chosenPart);
  const element = h("section", { class: "mix", "aria-label": "Guided mix" },
    title, steps, h("div", { class: "head-line" }, head, care), hint, bar.element, corrections.element, warnings, actions.from.element,
    h("div", { class: "actions" }, actions.confirm, next), actions.rest);
  return {
    element,
    update(row) {
      batch = row;
    },
    draw(scale, decimals, now) {
      const ink = store.get("inks", batch.ink);
      // A bar that stands still while ink is poured would be believed.
      const cut = ["retrying", "none"].includes(document.body.dataset.contact);
      const heard = scale?.quality === "good" && !cut;
      const pour = heard && scale.batch === batch.id ? scale.pouring : undefined;
      const words = heard ? instruction(batch, ink, pour) : { ...instruction(batch, ink), hint: unheard };
      drawTitle(title, batch, now);
      drawSteps(steps, batch, ink);
      setText(head, words.head);
      setText(hint, words.hint);
      show(hint, words.hint !== "");
      setText(care, careFor(pour?.part ?? batch.step));
      show(care, care.textContent !== "");
      bar.update(pour, decimals);
      corrections.update(batch);
      keyed(warnings, batch.warnings ?? [], (w) => w, (w) => ({ element: h("li", { text: w }), update() {} }));
      actions.keyPressed(scale?.batch === batch.id ? scale.key_refused : undefined);
      actions.update(words.done);
      const coming = ahead(batch, ink);
      setText(next, coming && `Next: ${coming}`);
    },
  };
}

// mixActions are the buttons of a mix, and what the bench says when it refuses one of them.
function mixActions({ store, say }, current, chosenPart) {
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const send = (verb, body) => change(`batches/${current().id}/${verb}`, body);
  const post = (verb, body) => say(refusal, async () => {
    const { answer } = await send(verb, body);
    if (answer.id) store.put("batches", answer);
  });
  const confirmBody = (more) => {
    const part = chosenPart();
    return { step: current().step, ...(part ? { part } : from.body()), ...more };
  };
  const from = pourFromPart({ say }, current, async (more) => {
    const { answer } = await send("confirm", confirmBody(more));
    if (answer.id) store.put("batches", answer);
  });
  const confirm = button("", "big main", () => post("confirm", confirmBody()));
  const tared = h("div", { class: "question", role: "group", "aria-label": "What happened at the scale?", hidden: true },
    h("p", { text: "What happened at the scale?" }),
    button("The scale was tared", "big", () => post("confirm", confirmBody({ tared: true }))),
    button("The cup was lifted", "big", () => post("confirm", confirmBody({ tared: false }))));
  const override = button("Go on as it is…", "big", () => overrideDialog((reason) => send("confirm", confirmBody({ override: reason })), store));
  const undo = button("Undo the last pour", "big", () => post("correct", { undo: true }));
  const relabel = button("That was something else…", "big", () => relabelDialog((part) => send("correct", { part }), store));
  const abandon = button("Give this mix up…", "big quiet-button", () => abandonDialog(current(), () => send("abandon"), store));
  let at = "";
  let pressed = "";
  return {
    confirm,
    from,
    // keyPressed shows why a press of the scale's own key changed nothing, as for a tap.
    keyPressed(refused) {
      if (!refused || refused.at === pressed) return;
      pressed = refused.at;
      at = `${current().id} ${current().step}`;
      refusal.textContent = refused.detail;
      refusal.dataset.code = refused.code ?? "";
      show(refusal, true);
    },
    rest: [refusal, tared, h("div", { class: "ways-out" }, override, undo, relabel, abandon)],
    update(done) {
      const batch = current();
      const stands = `${batch.id} ${batch.step}`;
      if (at !== stands) { // what was refused before belongs to another step
        at = stands;
        show(refusal, false);
      }
      const refused = refusal.hidden ? "" : refusal.dataset.code;
      setText(confirm, done);
      // The bench asks in words; the answer is one of two.
      show(tared, refused === "ambiguous");
      show(override, needsReason(batch, refused));
      const pours = (batch.components ?? []).length > 0;
      show(undo, pours);
      show(relabel, pours);
      from.update();
    },
  };
}

// needsReason: out of tolerance, whether or not the cup has room to mend it; or without thinner;
// or the bench has just said that it asks for a reason.
function needsReason(batch, refused) {
  return batch.corrections?.length > 0 || batch.step === "thinner" ||
    (batch.components ?? []).some((c) => c.part === batch.step) || refused === "order" || (refused === "which-cup" && batch.step === "cup");
}

function drawTitle(element, batch, now) {
  const parts = [`Mix ${batch.id}`, batch.ink, batch.for_press ? `for ${batch.for_press}` : batch.cup];
  if (batch.mixed_at) {
    const at = Date.parse(batch.mixed_at);
    parts.push(`reacting since ${clockTime(at, now)}, ${duration(-secondsUntil(at, now))}`);
  }
  if (batch.ratio) parts.push(ratioWords(batch.ratio));
  if (batch.on_disk === false) parts.push("not yet on disk");
  setText(element, parts.join(" · "));
}

function drawSteps(list, batch, ink) {
  const steps = stepsOf(batch, ink);
  const here = steps.indexOf(batch.step);
  const rows = steps.map((step, i) => ({ step, stands: i < here ? "done" : i === here ? "now" : "ahead" }));
  keyed(list, rows, (row) => row.step, () => {
    const state = h("span", { class: "unseen" });
    const element = h("li", {}, h("span", { class: "step-mark", "aria-hidden": "true" }), h("span"), state);
    return {
      element,
      update(row) {
        element.dataset.stands = row.stands;
        if (row.stands === "now") element.setAttribute("aria-current", "step");
        else element.removeAttribute("aria-current");
        setText(element.children[1], shortName(row.step));
        setText(state, row.stands === "done" ? ", done" : "");
      },
    };
  });
}

// correctionsPart shows the ways to put a pour right, to be chosen from where they begin with
// different parts.
function correctionsPart() {
  const list = h("div", { class: "correction-list" });
  const element = h("fieldset", { class: "corrections", "aria-live": "polite" },
    h("legend", { text: "Not right yet. Pour one of these, let it settle, confirm again:" }), list);
  let drawn = "";
  let rows = [];
  return {
    element,
    // chosenPart is the part that is being poured, where it is not what the first correction asks for.
    chosenPart() {
      const chosen = rows[Number(list.querySelector("input:checked")?.value ?? 0)];
      const part = chosen && firstPart(chosen);
      return part && part !== firstPart(rows[0]) ? part : undefined;
    },
    update(batch) {
      rows = batch.corrections ?? [];
      show(element, rows.length > 0);
      const key = JSON.stringify(rows);
      if (key === drawn) return;
      drawn = key;
      const choose = new Set(rows.map(firstPart)).size > 1;
      list.replaceChildren(...rows.map((c, i) => {
        const words = correctionWords(c);
        const body = [h("strong", { text: words.add }), h("span", { text: words.aim }), h("small", { text: words.total })];
        if (!choose) return h("div", { class: "correction" }, body);
        return h("label", { class: "correction choice" }, h("input", { type: "radio", name: "correction", value: i, checked: i === 0 }), body);
      }));
    },
  };
}
