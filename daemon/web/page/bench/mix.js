// The guided mix: one thing to do, the bar, and what can be done when something went wrong.
import { changeRow } from "../lib/api.js";
import { pourBar } from "./bar.js";
import { correctionWords, firstPart } from "./corrections.js";
import { abandonDialog, relabelDialog, overrideDialog } from "../parts/mix-dialogs.js";
import { button, h, keyed, refusalLine, setText, show } from "../lib/dom.js";
import { clockTime, duration, ratioWords, secondsUntil } from "../lib/format.js";
import { pourFromPart } from "./pour-from.js";
import { ahead, cautionFor, instruction, shortName, stepsOf } from "./steps.js";

const noWeight = "There is no fresh weight to go by. See to the scale; the mix waits, and what was poured is kept.";

/**
 * mixPanel shows a mix.
 * @param {Pick<Page.Tools, "store" | "attempt">} tools
 */
export function mixPanel({ store, attempt }) {
  const title = h("p", { class: "mix-title" });
  const steps = h("ol", { class: "steps", "aria-label": "Steps of this mix" });
  const head = h("h2", { class: "mix-head", "aria-live": "polite" });
  const hint = h("p", { class: "mix-hint" });
  const care = h("p", { class: "care-now" });
  const bar = pourBar();
  const corrections = correctionsPart();
  const warnings = h("ul", { class: "warnings" });
  const next = h("p", { class: "next" });
  /** @type {API.BatchView} */
  let batch;
  const actions = mixActions({ store, attempt }, () => batch, corrections.chosenPart);
  const element = h("section", { class: "mix", "aria-label": "Guided mix" },
    title, steps, h("div", { class: "head-line" }, head, care), hint, bar.element, corrections.element, warnings, actions.from.element,
    h("div", { class: "actions" }, actions.confirm, next), actions.rest);
  return {
    element,
    update(/** @type {API.BatchView} */ row) {
      batch = row;
    },
    /**
     * @param {API.ScaleView | undefined} scale
     * @param {number} decimals
     * @param {number} now
     */
    draw(scale, decimals, now) {
      const ink = store.get("inks", batch.ink);
      // A bar that does not move while ink is poured would be believed.
      const cut = ["retrying", "none"].includes(document.body.dataset.contact ?? "");
      const heard = scale?.quality === "good" && !cut;
      const pour = heard && scale?.batch === batch.id ? scale.pouring : undefined;
      const words = heard ? instruction(batch, ink, pour) : { ...instruction(batch, ink), hint: noWeight };
      drawTitle(title, batch, now);
      drawSteps(steps, batch, ink);
      setText(head, words.head);
      setText(hint, words.hint);
      show(hint, words.hint !== "");
      setText(care, cautionFor(pour?.part ?? batch.step));
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

/**
 * mixActions makes the buttons of a mix, and shows the bench's answer when it refuses one of them.
 * @param {Pick<Page.Tools, "store" | "attempt">} tools
 * @param {() => API.BatchView} current
 * @param {() => string | undefined} chosenPart
 */
function mixActions({ store, attempt }, current, chosenPart) {
  const refusal = refusalLine();
  const send = (/** @type {string} */ verb, /** @type {object} */ body = {}) => changeRow(store, "batches", `batches/${current().id}/${verb}`, body);
  const post = (/** @type {string} */ verb, /** @type {object} */ body) => attempt(refusal, () => send(verb, body));
  const confirmBody = (/** @type {object} */ more = {}) => {
    const part = chosenPart();
    return { step: current().step, ...(part ? { part } : from.body()), ...more };
  };
  const from = pourFromPart({ attempt }, current, (more) => send("confirm", confirmBody(more)));
  const confirm = button("", "big main", () => post("confirm", confirmBody()), () => `${current().id} ${current().step}`);
  const tared = h("div", { class: "question", role: "group", "aria-label": "What happened at the scale?", hidden: true },
    h("p", { text: "What happened at the scale?" }),
    button("The scale was tared", "big", () => post("confirm", confirmBody({ tared: true }))),
    button("The cup was lifted", "big", () => post("confirm", confirmBody({ tared: false }))));
  const override = button("Go on as it is…", "big", () => overrideDialog((reason) => send("confirm", confirmBody({ override: reason }))));
  const undo = button("Undo the last pour", "big", () => post("correct", { undo: true }));
  const relabel = button("That was something else…", "big", () => relabelDialog((part) => send("correct", { part })));
  const abandon = button("Give this mix up…", "big quiet-button", () => abandonDialog(current(), () => send("abandon")));
  let at = "";
  let pressed = "";
  return {
    confirm,
    from,
    /**
     * keyPressed shows why a press of the scale's own key changed nothing, as for a tap.
     * @param {API.KeyRefusal | undefined} refused
     */
    keyPressed(refused) {
      if (!refused || refused.at === pressed) return;
      pressed = refused.at;
      at = `${current().id} ${current().step}`;
      refusal.textContent = refused.detail;
      refusal.dataset.code = refused.code ?? "";
      show(refusal, true);
    },
    rest: [refusal, tared, h("div", { class: "ways-out" }, override, undo, relabel, abandon)],
    update(/** @type {string} */ done) {
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

/**
 * needsReason tells whether the step can be confirmed with a reason: out of tolerance, whether or
 * not the cup has room for a correction; or without thinner; or because the bench asks for one.
 * @param {API.BatchView} batch
 * @param {string | undefined} refused the code of the refusal that is shown
 */
function needsReason(batch, refused) {
  return (batch.corrections ?? []).length > 0 || batch.step === "thinner" ||
    (batch.components ?? []).some((c) => c.part === batch.step) || refused === "order" || (refused === "which-cup" && batch.step === "cup");
}

/**
 * @param {HTMLElement} element
 * @param {API.BatchView} batch
 * @param {number} now
 */
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

/**
 * @param {HTMLElement} list
 * @param {API.BatchView} batch
 * @param {API.InkView | undefined} ink
 */
function drawSteps(list, batch, ink) {
  const steps = stepsOf(batch, ink);
  const here = steps.indexOf(batch.step ?? "");
  const rows = steps.map((step, i) => ({ step, stands: i < here ? "done" : i === here ? "now" : "ahead" }));
  keyed(list, rows, (row) => row.step, () => {
    const state = h("span", { class: "unseen" });
    const name = h("span");
    const element = h("li", {}, h("span", { class: "step-mark", "aria-hidden": "true" }), name, state);
    return {
      element,
      update(row) {
        element.dataset.stands = row.stands;
        if (row.stands === "now") element.setAttribute("aria-current", "step");
        else element.removeAttribute("aria-current");
        setText(name, shortName(row.step));
        setText(state, row.stands === "done" ? ", done" : "");
      },
    };
  });
}

// correctionsPart shows the ways to correct a pour, as choices where they begin with different parts.
function correctionsPart() {
  const list = h("div", { class: "correction-list" });
  const element = h("fieldset", { class: "corrections", "aria-live": "polite" },
    h("legend", { text: "Not right yet. Pour one of these, let it settle, confirm again:" }), list);
  let drawn = "";
  /** @type {API.Correction[]} */
  let rows = [];
  return {
    element,
    // chosenPart returns the part that is being poured where it is another than the first correction's.
    chosenPart() {
      const input = list.querySelector("input:checked");
      const [first] = rows;
      const chosen = input instanceof HTMLInputElement ? rows[Number(input.value)] : first;
      const part = chosen && firstPart(chosen);
      return part && first && part !== firstPart(first) ? part : undefined;
    },
    update(/** @type {API.BatchView} */ batch) {
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
