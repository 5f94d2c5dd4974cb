// Starting a mix: ink, press or cup, colour class, artwork; what was chosen last comes first.
import { changeRow } from "../lib/api.js";
import { recordDialog } from "../parts/batch-dialogs.js";
import { lastFirst, latest, remember } from "../lib/choices.js";
import { ask, bounceMs, chips, field, fieldOf, figure, textOf } from "../lib/dialogs.js";
import { button, h, setData, setText, setWords, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { complete } from "../lib/valid.js";
import { say } from "../lib/words.js";
import { soundButton } from "./strip.js";
import { recipePart } from "./recipe.js";
import { assumedLine } from "../parts/assumed.js";
import { term } from "../parts/terms.js";
import { nextWord } from "./waiting.js";
import { inkOn, mixFor, neediest, needOf, takesInk } from "./need.js";

const colourClasses = ["dark", "light", "heavy-light"].map((value) => ({ value, label: term("colour", value) }));
const artworks = ["fine-detail", "normal", "large-solid"].map((value) => ({ value, label: term("artwork", value) }));

/**
 * startPanel makes the form. scale returns the scale that is chosen.
 * @param {Pick<Page.Tools, "store" | "attempt"> & { scale: () => string | undefined }} tools
 */
export function startPanel({ store, attempt, scale }) {
  const refusal = refusalLine();
  const form = h("form", { class: "start-form", novalidate: true });
  const element = h("section", { class: "mix start", "aria-label": say("bench.start") }, h("h2", { class: "mix-head", text: say("bench.start") }), form, refusal);
  const start = h("button", { type: "submit", class: "big main", text: say("bench.start-this"), "aria-describedby": "start-waits" });
  const waits = h("p", { class: "start-waits", id: "start-waits", role: "status" });
  const airless = h("p", { class: "start-waits" });
  let sending = false;
  let waitsFor = ""; // why nothing can be started; empty when it can
  const drawStart = () => {
    const disabled = sending || waitsFor !== "";
    if (start.disabled !== disabled) start.disabled = disabled;
    setText(waits, waitsFor);
    show(waits, waitsFor !== "");
    setData(form, "waits", String(waitsFor !== ""));
  };
  const byHand = button(say("bench.by-hand"), "big quiet-button", () => recordDialog(store));
  const sheet = h("p", { class: "sheet" });
  // What decides about the mix is beside the button, whatever has been scrolled.
  const what = h("p", { class: "start-what" });
  const how = h("p", { class: "start-how" });
  const other = h("p", { class: "start-other" });
  const second = h("p", { class: "start-other" });
  const recipe = recipePart();
  // Another share of thinner than the usual start is kept with its reason.
  const reason = h("input", { name: "thinner_reason", type: "text", maxlength: 200 });
  const reasonField = fieldOf(reason, say("bench.why-thinner"), undefined, say("thin.kept"));
  // What nobody has chosen since the last mix follows the presses' need. A tap that comes just after a change was
  // meant for what stood there before.
  /** @type {Set<string>} */
  const touched = new Set();
  let proposed = "";
  let proposedAt = -Infinity;
  const propose = () => {
    const presses = byUse(store.all("presses"));
    const fit = touched.has("ink") ? takesInk(store, presses, textOf(new FormData(form), "ink")) : [];
    const press = neediest(store, fit.length > 0 ? fit : presses, store.clock.now());
    const proposal = { where: press && !touched.has("where") ? `press:${press.id}` : "", ink: press && !touched.has("where") && !touched.has("ink") ? inkOn(store, press) ?? latest("ink") ?? "" : "" };
    const key = JSON.stringify(proposal);
    if (key === proposed) return proposal;
    proposed = key;
    for (const [name, value] of Object.entries(proposal)) {
      const input = value && form.querySelector(`input[name="${name}"][value="${CSS.escape(value)}"]`);
      if (!(input instanceof HTMLInputElement) || input.checked) continue;
      input.checked = true;
      proposedAt = performance.now();
    }
    return proposal;
  };
  // A tap on what is proposed already chooses it, too.
  for (const event of ["click", "change"]) {
    form.addEventListener(event, ({ target }) => target instanceof HTMLInputElement && touched.add(target.name));
  }
  form.addEventListener("change", () => {
    propose();
    drawSheet();
  });
  form.addEventListener("input", () => drawSheet());
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (start.disabled || performance.now() - proposedAt < bounceMs || !complete(form)) return;
    const data = new FormData(form);
    drawWarnings(data);
    if (!second.hidden) {
      const title = say("start.ask-title", { press: pressOf(data)?.id ?? "" });
      return ask({ title, lead: second.textContent, submitLabel: say("bench.start-this"), submit: () => send(data) });
    }
    sending = true;
    drawStart();
    await attempt(refusal, () => send(data));
    sending = false;
    drawStart();
  });
  const drawSheet = () => {
    const data = new FormData(form);
    const ink = store.get("inks", textOf(data, "ink"));
    sheet.replaceChildren(...(ink ? assumedLine(ink) : []));
    reason.required = figure(data, "thinner_pct") !== undefined;
    show(reasonField, reason.required);
    const [, where = ""] = textOf(data, "where").split(":");
    setWords(what, `${textOf(data, "ink")} → ${where}`);
    setText(how, say("start.how", { colour: term("colour", textOf(data, "colour_class")), motif: term("artwork", textOf(data, "artwork")) }));
    drawNeeds(store.all("presses"), data);
    drawWarnings(data);
    askRecipe();
  };
  const pressOf = (/** @type {FormData} */ data) => {
    const where = textOf(data, "where");
    return where.startsWith("press:") ? store.get("presses", where.slice(6)) : undefined;
  };
  // A press that prints another ink is planned for a change of ink, or chosen by mistake; so is one for which there
  // is a mix already.
  const drawWarnings = (/** @type {FormData} */ data) => {
    const [ink, press] = [textOf(data, "ink"), pressOf(data)];
    const holds = press && inkOn(store, press);
    setWords(other, press && holds && holds !== ink ? say("start.other-ink", { press: press.id, old: holds, ink }) : "");
    const now = store.clock.now();
    const mix = press && mixFor(store, press, now);
    setWords(second, press && mix ? say("start.second", { press: press.id, mix: `${mix.id} (${mix.ink})`, is: nextWord(mix, now) }) : "");
    for (const line of [other, second]) show(line, line.textContent !== "");
  };
  // Beside each press stands what it needs, and its ink where that is another than the chosen one.
  const drawNeeds = (/** @type {API.PressView[]} */ presses, /** @type {FormData} */ data) => {
    const ink = textOf(data, "ink");
    for (const press of presses) {
      const note = form.querySelector(`input[name="where"][value="${CSS.escape(`press:${press.id}`)}"] + .chip-body small`);
      if (!(note instanceof HTMLElement)) continue;
      const holds = inkOn(store, press);
      const words = { cup: press.cup, need: needOf(store, press, store.clock.now()).words };
      setText(note, holds && ink && holds !== ink ? say("start.press-note-other", { ...words, ink: holds }) : say("start.press-note", words));
    }
  };
  const askRecipe = () => {
    const query = bodyOf(new FormData(form));
    if (query.ink && query.scale) recipe.ask(query);
  };
  const bodyOf = (/** @type {FormData} */ data) => {
    const [kind = "", id = ""] = textOf(data, "where").split(":");
    const inkG = figure(data, "ink_g");
    const thinnerPct = figure(data, "thinner_pct");
    return {
      scale: scale(), ink: textOf(data, "ink"), ...(kind && { [kind]: id }), colour_class: textOf(data, "colour_class"), artwork: textOf(data, "artwork"),
      ...(inkG !== undefined && { ink_g: inkG }), ...(thinnerPct !== undefined && { thinner_pct: thinnerPct }),
    };
  };
  const send = async (/** @type {FormData} */ data) => {
    const why = textOf(data, "thinner_reason");
    const body = bodyOf(data);
    await changeRow(store, "batches", "batches", { ...body, ...("thinner_pct" in body && why && { thinner_reason: why }) });
    for (const name of ["ink", "where", "colour_class", "artwork"]) remember(name, textOf(data, name));
    form.reset();
    touched.clear();
    proposed = "";
    propose();
  };
  let drawn = "";
  return {
    element,
    // focus moves the focus to the first choice.
    focus() {
      const chosen = form.querySelector("input:checked");
      if (chosen instanceof HTMLInputElement) chosen.focus();
    },
    /**
     * wait says what keeps a mix from being started.
     * @param {string} why nothing can be started; empty when it can
     * @param {string} air what is to be said of the air
     */
    wait(why, air) {
      waitsFor = why;
      drawStart();
      setText(airless, air);
      show(airless, air !== "");
    },
    // update makes the form again only when the choices have changed.
    update() {
      const inks = store.all("inks");
      const presses = store.all("presses");
      const key = JSON.stringify([inks.map((i) => [i.id, i.assumed]), presses.map((p) => [p.id, p.cup])]);
      if (key === drawn) {
        const was = proposed;
        propose();
        if (was !== proposed) drawSheet();
        if (!form.checkVisibility()) return;
        drawNeeds(presses, new FormData(form));
        drawWarnings(new FormData(form));
        askRecipe();
        return;
      }
      drawn = key;
      const before = new FormData(form);
      const proposal = propose();
      const keep = (/** @type {string} */ name, first = "") => (touched.has(name) && textOf(before, name)) || (name === "ink" || name === "where" ? proposal[name] : "") || textOf(before, name) || (latest(name) ?? first);
      form.replaceChildren(...fields(inks, presses, keep, reasonField), recipe.element, sheet,
        h("div", { class: "actions" }, waits, h("div", { class: "start-sum" }, recipe.sum, airless), h("div", { class: "start-bar" }, other, second, h("div", { class: "start-for" }, what, how, recipe.short), start)), h("div", { class: "ways-out" }, byHand, soundButton()));
      drawSheet();
      show(form, inks.length > 0);
    },
  };
}

/**
 * fields make the choices; keep returns the present choice, or the last one.
 * @param {API.InkView[]} inks
 * @param {API.PressView[]} presses
 * @param {(name: string, first?: string) => string} keep
 * @param {HTMLElement} reasonField
 */
function fields(inks, presses, keep, reasonField) {
  const amount = { type: "number", step: "any", inputmode: "decimal" };
  return [
    ordered(say("record.ink"), "ink", inks.map((i) => ({ value: i.id, label: i.id, note: say("bench.ratio", { ratio: i.hardener_ratio }) })), keep("ink")),
    ordered(say("bench.for"), "where", where(presses), keep("where")),
    h("div", { class: "pair" },
      chips({ legend: say("bench.colour"), name: "colour_class", options: colourClasses, chosen: keep("colour_class", "dark") }),
      chips({ legend: say("bench.artwork"), name: "artwork", options: artworks, chosen: keep("artwork", "normal") })),
    h("details", {}, h("summary", { text: say("bench.other-amounts") }), h("div", { class: "pair" },
      field({ label: say("record.ink"), unit: "g", name: "ink_g", min: 1, max: 100000, hint: say("bench.ink-hint"), ...amount }),
      field({
        label: say("record.thinner"), unit: "%", name: "thinner_pct", min: 0, max: 100,
        hint: say("bench.thinner-hint"), ...amount,
      }),
      reasonField)),
  ];
}

/**
 * byUse orders presses by when a mix was last made for them, so that of two that are empty the one that is in use
 * comes first.
 * @param {API.PressView[]} presses
 */
function byUse(presses) {
  const values = lastFirst("where", presses.map((p) => `press:${p.id}`));
  return values.flatMap((v) => presses.filter((p) => v === `press:${p.id}`));
}

/**
 * where lists the presses, and each cup by itself.
 * @param {API.PressView[]} presses
 */
function where(presses) {
  const cups = [...new Set(presses.map((p) => p.cup))];
  return [
    ...presses.map((p) => ({ value: `press:${p.id}`, label: p.id, note: p.cup })), // see drawNeeds
    ...cups.map((c) => ({ value: `cup:${c}`, label: c, note: say("bench.no-press") })),
  ];
}

/**
 * ordered are chips with the last choices first and one of them always chosen.
 * @param {string} legend
 * @param {string} name
 * @param {Page.Option[]} options
 * @param {string | undefined} wanted
 */
function ordered(legend, name, options, wanted) {
  const values = lastFirst(name, options.map((o) => o.value));
  return chips({
    legend, name, options: values.flatMap((v) => options.filter((o) => o.value === v)),
    chosen: wanted && values.includes(wanted) ? wanted : values[0],
  });
}
