// The buttons of a mix: the one that continues, whose tap is kept until the weight is still, and the
// ways out when something went wrong.
import { changeRow } from "../lib/api.js";
import { outOfContact } from "../lib/contact.js";
import { pick } from "../lib/dialogs.js";
import { button, h, setText, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { grams } from "../lib/format.js";
import { say } from "../lib/words.js";
import { abandonDialog, overrideDialog } from "../parts/mix-dialogs.js";
import { term } from "../parts/terms.js";
import { benchTook } from "./by-bench.js";
import { pourState } from "./bar.js";
import { bestCure } from "./cures.js";
import { keptAtMostMs, keptNext } from "./kept.js";
import { pourFromPart } from "./pour-from.js";
import { canPourOver, largerCups, pourOverDialog, whyLess } from "./pour-over.js";
import { canMend, contaminatedPart, namePart, wrongCanDialog } from "./wrong-can.js";

const stillMs = 400; // so long the weight must rest before a kept tap is carried out
const settleMs = 500; // a tap or a key within this after a step has changed was not meant for the new one

/**
 * mixActions makes them, and shows the bench's answer when it refuses one of them.
 * @param {Pick<Page.Tools, "store" | "attempt">} tools
 * @param {() => API.BatchView} current
 * @param {() => string | undefined} chosenPart
 */
export function mixActions({ store, attempt }, current, chosenPart) {
  const refusal = refusalLine();
  const about = () => `${current().id} ${current().step}`;
  const send = (/** @type {string} */ verb, /** @type {object} */ body = {}) => changeRow(store, "batches", `batches/${current().id}/${verb}`, body);
  const post = (/** @type {string} */ verb, /** @type {object} */ body) => attempt(refusal, () => send(verb, body));
  const confirmBody = (/** @type {object} */ more = {}) => {
    const part = chosenPart();
    return { step: current().step, ...(part ? { part } : from.body()), ...more };
  };
  const from = pourFromPart({ attempt }, current, (more) => send("confirm", confirmBody(more)));
  /** @type {import("./kept.js").Kept | undefined} */
  let kept;
  /** @type {API.ScaleView | undefined} */
  let scale;
  const drop = (/** @type {"" | "stage.kept-given-up" | "stage.kept-step" | "stage.kept-away" | "stage.kept-unheard" | "stage.kept-late"} */ why) => {
    kept = undefined;
    if (why) refuse(say(why), "");
  };
  // A refusal for a weight that still moves keeps the tap; any other ends it.
  const take = () => post("confirm", confirmBody()).then(() => {
    if (refusal.hidden) return drop("");
    if (refusal.dataset.code !== "unsettled") return drop("");
    show(refusal, false);
    kept = { since: kept?.since ?? performance.now(), about: about(), triedAt: scale?.time };
    draw();
  });
  const confirm = button("", "big main", () => {
    if (outOfContact()) return refuse(say("stage.no-contact-tap"), "");
    if (current().no_room) return; // Enter on a keypad
    if (tooMuch()) return refuse(say("stage.too-much-tap"), "too-much");
    if (name.asks()) return refuse(say("wrong.name-first"), "not-named");
    if (foreign.asks()) return refuse(say("wrong.decide-first"), "contaminated");
    if (asksCan()) return from.ask();
    if (kept) {
      drop("stage.kept-given-up");
      return draw();
    }
    if (scale && scale.quality !== "good" && !stirs()) return refuse(say("stage.kept-unheard"), "");
    const moves = scale?.quality === "good" && scale.batch === current().id && !scale.stable && !stirs();
    if (!moves) return take();
    show(refusal, false);
    kept = { about: about(), since: performance.now() };
    draw();
  }, about);
  const tared = h("div", { class: "question", role: "group", "aria-label": say("mixing.what-happened"), hidden: true },
    h("p", { text: say("mixing.what-happened") }),
    button(say("mixing.tared"), "big", () => post("confirm", confirmBody({ tared: true }))),
    button(say("mixing.lifted"), "big", () => post("confirm", confirmBody({ tared: false }))));
  const override = button("", "big", () => overrideDialog((reason) => send("confirm", confirmBody({ override: reason })), current().step === "pour-over" ? whyLess() : undefined));
  const scrap = button(say("stage.scrap"), "big", () => abandonDialog(current(), () => send("abandon")));
  const wrong = button(say("wrong.button"), "big", () => wrongCanDialog(current(), scale, store, ({ verb, body }) => send(verb, body)));
  const name = namePart(({ verb, body }) => whenStill(() => post(verb, body)));
  const foreign = contaminatedPart(() => abandonDialog(current(), () => send("abandon")), () => overrideDialog((reason) => send("correct", { override: reason })));
  const byBench = benchTook((seq) => post("undo", { seq }));
  const over = button(say("over.button"), "big", () => pourOverDialog(current(), scale, (body) => send("pour-over", body)));
  const keep = button(say("over.keep"), "big", () => whenStill(() => post("pour-over", { undo: true })));
  const more = button(say("stage.more"), "big", () => moreDialog(current(), () => send("abandon"), () => pourOverDialog(current(), scale, (body) => send("pour-over", body))));
  /** @type {{ weight: number, since: number, timer?: ReturnType<typeof setTimeout> }} */
  let rest = { weight: NaN, since: 0 };
  let at = "";
  let changed = 0; // when the step changed
  let pressed = "";
  let refusedAtG = NaN; // what the scale showed when it was said that nothing was poured
  let done = "";

  // Far too much ink is not taken with one tap.
  const tooMuch = () => scale?.batch === current().id && scale.pouring?.verdict === "too-much";
  // A larger cup is one of the cures of what is on the scale.
  const asksLargerCup = () => scale?.batch === current().id && (scale.pouring?.cures ?? []).some((c) => c.kind === "larger-cup");
  // Nor is a pour from a can that is past its last day: the button asks about it first, since the warning may be out of sight.
  const asksCan = () => (chosenPart() ? "" : from.asks());
  const stirs = () => (current().step ?? "").startsWith("stir-");

  // whenStill repeats what was refused because the weight still moved, for as long as a tap is kept.
  async function whenStill(/** @type {() => Promise<unknown>} */ work) {
    for (const end = performance.now() + keptAtMostMs; ;) {
      await work();
      if (refusal.hidden || refusal.dataset.code !== "unsettled" || performance.now() > end) return;
      await new Promise((go) => setTimeout(go, stillMs));
    }
  }

  /**
   * @param {string} text
   * @param {string} code
   */
  function refuse(text, code) {
    refusal.textContent = text;
    refusal.dataset.code = code;
    show(refusal, true);
  }

  // cure names what comes after the tap, when the pour went too far and another part puts it right.
  function cure() {
    const pour = scale?.batch === current().id ? scale.pouring : undefined;
    const first = pour && pourState(pour) === "over" ? bestCure(pour) : undefined;
    return first?.kind === "add" ? say("cure.take-and", { mass: grams(first.g), part: term("part", first.part ?? "") }) : "";
  }

  function draw() {
    setText(confirm, outOfContact() ? say("stage.no-contact") : kept ? say("stage.kept") : tooMuch() ? say("stage.too-much") : name.asks() ? say("wrong.name-first") : foreign.asks() ? say("wrong.decide-first") : asksCan() ? say("can-choice.first", { can: asksCan() }) : cure() || done);
    confirm.dataset.kept = String(kept !== undefined);
    confirm.setAttribute("aria-disabled", String(outOfContact() || tooMuch() || name.asks() || foreign.asks()));
  }

  // still tells whether the weight has rested for a while: one that shakes looks settled at times.
  function still() {
    const now = performance.now();
    const weight = scale?.weight_g ?? NaN;
    if (!scale?.stable || !(Math.abs(weight - rest.weight) <= scale.division_g)) {
      clearTimeout(rest.timer);
      rest = { weight: scale?.stable ? weight : NaN, since: now };
    }
    if (!scale?.stable) return false;
    if (now - rest.since >= stillMs) return true;
    clearTimeout(rest.timer);
    rest.timer = setTimeout(() => follow(), stillMs);
    return false;
  }

  // forget takes back that nothing was poured as soon as the weight has moved.
  function forget() {
    const weight = scale?.weight_g ?? NaN;
    if (refusal.hidden || refusal.dataset.code !== "nothing-poured") refusedAtG = weight;
    else if (Math.abs(weight - refusedAtG) > 2 * (scale?.division_g ?? 0)) show(refusal, false);
  }

  function follow() {
    if (!kept || confirm.getAttribute("aria-busy") === "true") return;
    const heard = scale?.quality === "good" && scale.batch === current().id && !outOfContact();
    const onPan = stirs() || (scale?.weight_g ?? 0) > 2 * (scale?.division_g ?? 0) || (scale?.pouring?.poured_g ?? 0) > 0;
    switch (keptNext(kept, { about: about(), stable: still(), at: scale?.time ?? "", onPan, heard }, performance.now())) {
      case "take":
        kept = { ...kept, triedAt: scale?.time };
        confirm.setAttribute("aria-busy", "true");
        take().finally(() => confirm.removeAttribute("aria-busy"));
        return;
      case "step":
        return drop("stage.kept-step");
      case "away":
        return drop("stage.kept-away");
      case "unheard":
        return drop("stage.kept-unheard");
      case "late":
        return drop("stage.kept-late");
    }
  }

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
      at = about();
      refuse(refused.text, refused.code ?? "");
    },
    /**
     * byKey confirms as Enter on a keypad asks for it; false when it comes too soon to be meant.
     */
    byKey() {
      if (performance.now() - changed < settleMs) return false;
      confirm.click();
      return true;
    },
    /**
     * hears takes in the newest row of the scale before it is drawn, so that a tap never goes by an older one.
     * @param {API.ScaleView | undefined} row
     */
    hears(row) {
      scale = row;
    },
    notes: [refusal, foreign.element, tared, name.element, byBench.element],
    ways: [override, scrap, over, keep, wrong, more],
    /**
     * update draws them, for the row that hears took in.
     * @param {string} words of the button that continues
     */
    update(words) {
      const batch = current();
      done = words;
      if (at !== about()) { // what was refused before belongs to another step
        at = about();
        changed = performance.now();
        show(refusal, false);
      }
      forget();
      follow();
      draw();
      const refused = refusal.hidden ? "" : refusal.dataset.code;
      // The bench asks in words; the answer is one of two.
      show(tared, refused === "ambiguous");
      const reason = overrideWords(batch, refused);
      setText(override, reason);
      show(override, reason !== "");
      // A mix that nothing puts right has two ways out, and nothing to confirm.
      const noRoom = Boolean(batch.no_room);
      show(confirm, !noRoom);
      show(scrap, noRoom);
      show(over, batch.step !== "pour-over" && largerCups(batch).length > 0 && (noRoom || asksLargerCup()));
      show(keep, batch.step === "pour-over");
      show(more, !noRoom);
      show(wrong, batch.step !== "pour-over" && canMend(batch, scale));
      name.update(batch, scale);
      foreign.update(batch);
      byBench.update(batch, store.clock.now());
      from.update();
    },
  };
}

/**
 * overrideWords names the button that goes on with a reason: out of tolerance, whether or not the cup
 * has room for a correction; or without thinner; or because the bench asks for one. It is empty where
 * no reason is asked for.
 * @param {API.BatchView} batch
 * @param {string | undefined} refused the code of the refusal that is shown
 */
function overrideWords(batch, refused) {
  if (batch.no_room || (batch.corrections ?? []).length > 0 || (batch.components ?? []).some((c) => c.part === batch.step)) return say("stage.override");
  if (refused === "order" || refused === "too-much" || refused === "lost-over" || (refused === "which-cup" && (batch.step === "cup" || batch.step === "pour-over"))) return say("stage.all-the-same");
  return batch.step === "thinner" ? say("stage.skip-thinner") : "";
}

/**
 * moreDialog offers what is rarely wanted and must not be hit by mistake.
 * @param {API.BatchView} batch
 * @param {() => Promise<unknown>} abandon
 * @param {() => void} pourOver
 */
function moreDialog(batch, abandon, pourOver) {
  const options = [{ label: say("stage.scrap"), note: say("stage.scrap-note"), value: () => abandonDialog(batch, abandon) }];
  if (canPourOver(batch)) options.unshift({ label: say(batch.step === "pour-over" ? "over.other" : "over.button"), note: say("over.button-note"), value: pourOver });
  pick({
    title: say("stage.more-title", { mix: batch.id }),
    groups: [{ legend: "", options }],
    submit: async (next) => next,
  });
}
