// A question that needs more than a button: a form in the browser's own dialog, which holds the
// focus and closes on Escape.
import { Refused } from "./api.js";
import { button, h, phrase, show } from "./dom.js";
import { refusalLine, showRefusal } from "./refusal.js";
import { degreeSign, grams, inCelsius, inDegrees } from "./format.js";
import { complete } from "./valid.js";
import { say } from "./words.js";

/**
 * ask opens a dialog with a form. body is between the heading and the buttons; submit is called
 * with the form's data, and may throw a refusal, which is shown; without one the dialog closes.
 * closed is called after that, or when the person goes back.
 * @param {{
 *   title: string, lead?: string, body?: Page.Child | Page.Child[], submitLabel: string, danger?: boolean,
 *   submit: (data: FormData) => unknown, closed?: () => void,
 * }} question
 */
export function ask({ title, lead, body = [], submitLabel, danger = false, submit, closed }) {
  const id = newTitle();
  const refusal = refusalLine();
  const yes = h("button", { type: "submit", class: danger ? "big danger" : "big main", text: submitLabel });
  const no = button(say("dialog.back"), "big", () => dialog.close());
  const form = h("form", { method: "dialog", novalidate: true }, phrase("h2", { id }, title),
    lead && phrase("p", {}, lead), body, refusal, h("div", { class: "actions" }, yes, no));
  const dialog = h("dialog", { "aria-labelledby": id }, form);
  if (closed) dialog.addEventListener("close", closed);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (yes.disabled || !complete(form)) return;
    yes.disabled = true;
    show(refusal, false);
    try {
      await submit(new FormData(form));
      dialog.close();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      showRefusal(refusal, error);
      refusal.scrollIntoView({ block: "nearest" });
    } finally {
      yes.disabled = false;
    }
  });
  open(dialog);
}

/** @param {HTMLDialogElement} dialog */
function open(dialog) {
  // A dialog that is longer than the screen shows that more is below.
  const more = () => (dialog.dataset.more = String(dialog.scrollHeight - dialog.clientHeight - dialog.scrollTop > 8));
  const sizes = new ResizeObserver(more);
  dialog.addEventListener("scroll", more);
  dialog.addEventListener("close", () => {
    sizes.disconnect();
    dialog.remove();
  });
  document.body.append(dialog);
  dialog.showModal();
  startAtTop(dialog);
  for (const part of [dialog, ...dialog.children]) sizes.observe(part);
}

/**
 * startAtTop gives the focus to the heading of a dialog whose first field is below the screen: a browser would
 * scroll to that, past what is to be read first.
 * @param {HTMLDialogElement} dialog
 */
function startAtTop(dialog) {
  const heading = dialog.querySelector("h2");
  if (dialog.scrollTop === 0 || !heading) return;
  heading.tabIndex = -1;
  heading.focus({ preventScroll: true });
  dialog.scrollTop = 0;
}

/**
 * showSection shows a part of the page in a dialog, as long as that is open, and then puts it back.
 * @param {string} title
 * @param {HTMLElement} section
 * @param {string} back is the word that closes it
 * @param {...Node} more is shown below it
 */
export function showSection(title, section, back, ...more) {
  const id = newTitle();
  const place = document.createComment("");
  section.replaceWith(place);
  /** @type {HTMLDialogElement} */
  const dialog = h("dialog", { class: "folded", "aria-labelledby": id }, h("div", { class: "folded-head" }, h("h2", { id, text: title }),
    button(back, "big", () => dialog.close())), section, ...more);
  dialog.addEventListener("close", () => place.replaceWith(section));
  open(dialog);
}

let titles = 0;

// newTitle returns an id for a heading: while one dialog is open, another may open on top of it.
const newTitle = () => `dialog-title-${++titles}`;

export const bounceMs = 500; // the second tap of a double one is not meant for what has just appeared

/**
 * pick opens a dialog in which one tap answers. submit is called with the value of the option, and
 * may throw a refusal; what it returns is called once the dialog is closed.
 * @template V
 * @param {{
 *   title: string, lead?: string, caution?: string, groups: { legend: string, options: Page.Option<V>[] }[],
 *   submit: (value: V) => Promise<(() => void) | void>,
 * }} question
 */
export function pick({ title, lead, caution, groups, submit }) {
  const refusal = refusalLine();
  const opened = performance.now();
  let busy = false;
  const answer = async (/** @type {V} */ value) => {
    busy = true;
    show(refusal, false);
    try {
      const next = await submit(value);
      dialog.close();
      next?.();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      showRefusal(refusal, error);
    } finally {
      busy = false;
    }
  };
  const option = (/** @type {Page.Option<V>} */ { label, note, value }) => {
    const b = h("button", { type: "button", class: "big option" }, phrase("span", {}, label), note && phrase("small", {}, note));
    b.addEventListener("click", (event) => {
      // Only a tap bounces: a key has no detail.
      if (busy || (event.detail > 0 && performance.now() - opened < bounceMs)) return;
      answer(value);
    });
    return b;
  };
  const id = newTitle();
  /** @type {HTMLDialogElement} */
  const dialog = h("dialog", { "aria-labelledby": id }, h("form", { method: "dialog" },
    phrase("h2", { id }, title), lead && phrase("p", {}, lead), caution && phrase("p", { class: "care-now" }, caution),
    groups.filter((g) => g.options.length > 0).map((g) => h("fieldset", { class: "chips" }, phrase("legend", {}, g.legend),
      h("div", { class: "chip-row" }, g.options.map(option)))),
    refusal, h("div", { class: "actions" }, button(say("dialog.back"), "big", () => dialog.close()))));
  open(dialog);
}

/**
 * chips makes a group of large radio buttons.
 * @param {{ legend: string, name: string, options: Page.Option[], chosen?: string, required?: boolean }} group
 */
export function chips({ legend, name, options, chosen, required = true }) {
  return h("fieldset", { class: "chips" }, phrase("legend", {}, legend),
    h("div", { class: "chip-row" }, options.map((o) => h("label", { class: "chip" },
      h("input", { type: "radio", name, value: o.value, required, checked: o.value === chosen }),
      h("span", { class: "chip-body" }, phrase("span", {}, o.label), o.note && phrase("small", {}, o.note))))));
}

/**
 * setChosen chooses one of chips.
 * @param {HTMLElement} group
 * @param {string} value
 */
export function setChosen(group, value) {
  for (const input of group.querySelectorAll("input")) input.checked = input.value === value;
}

/**
 * field makes a labelled input, with its unit behind it. Other properties are the input's own.
 * @param {{ label: string, unit?: string, hint?: string, [attribute: string]: unknown }} options
 */
export function field({ label, unit, hint, ...attributes }) {
  return fieldOf(h("input", attributes), label, unit, hint);
}

/**
 * fieldOf labels an input that is at hand.
 * @param {HTMLInputElement} input
 * @param {string} label
 * @param {string} [unit]
 * @param {string} [hint]
 */
export function fieldOf(input, label, unit, hint) {
  return h("label", { class: "field" }, h("span", { text: label }),
    h("span", { class: "field-line" }, input, unit && h("span", { text: unit })),
    hint && h("small", { text: hint }));
}

/**
 * massField makes a field for a mass in grams.
 * @param {{ label: string, [attribute: string]: unknown }} options
 */
export function massField(options) {
  return field({ unit: "g", ...massInput, ...options });
}

/**
 * temperatureField makes a field for a temperature in the shop's unit. The limits and the value are in °C,
 * and so is what temperature reads of it.
 * @param {{ label: string, min: number, max: number, value?: number, hint?: string, [attribute: string]: unknown }} options
 */
export function temperatureField({ min, max, value, ...options }) {
  return field({
    unit: degreeSign, type: "number", min: inDegrees(min), max: inDegrees(max), step: "any", inputmode: "decimal",
    ...(value !== undefined && { value: inDegrees(value) }), ...options,
  });
}

/**
 * temperature reads one in °C; undefined where the field is empty.
 * @param {FormData} data
 * @param {string} name
 */
export function temperature(data, name) {
  const degrees = figure(data, name);
  return degrees === undefined ? undefined : inCelsius(degrees);
}

const massSteps = [-10, -1, 1, 10]; // g

/**
 * steppedMass labels an input for a mass, with large buttons that change it: a glove hits no smaller
 * one.
 * @param {HTMLInputElement} input
 * @param {string} label
 */
export function steppedMass(input, label) {
  const step = (/** @type {number} */ by) => h("button", {
    type: "button", class: "big step-button", text: `${by < 0 ? "\u2212" : "+"}${grams(Math.abs(by), 0)}`,
    data: { twice: "" },
    on: {
      click() {
        input.value = String(Math.max(0, Math.round((Number(input.value) + by) * 1000) / 1000));
        input.dispatchEvent(new Event("input", { bubbles: true }));
      },
    },
  });
  return h("div", { class: "stepped" }, fieldOf(input, label, "g"), h("div", { class: "step-row" }, massSteps.map(step)));
}

// massInput are the attributes of an input for a mass.
export const massInput = { type: "number", min: 0, max: 100000, step: "any", inputmode: "decimal" };

/**
 * reasonFields make a text area for a reason, under buttons that fill in usual ones.
 * @param {string[]} usual
 */
export function reasonFields(usual) {
  const text = h("textarea", { name: "reason", rows: 2, required: true, maxlength: 200 });
  const quick = usual.map((reason) => {
    const b = h("button", { type: "button", class: "big", text: reason });
    b.addEventListener("click", () => {
      text.value = reason;
      text.focus();
    });
    return b;
  });
  return [h("div", { class: "quick" }, quick), h("label", { class: "field" }, h("span", { text: say("dialog.reason") }), text)];
}

/**
 * reasonOf reads it, on one line.
 * @param {FormData} data
 */
export const reasonOf = (data) => textOf(data, "reason").replace(/\s+/g, " ");

/**
 * textOf reads a text from a form, without the space around it; empty when there is none.
 * @param {FormData} data
 * @param {string} name
 */
export const textOf = (data, name) => String(data.get(name) ?? "").trim();

/**
 * figure reads a number from a form; undefined when the field is empty.
 * @param {FormData} data
 * @param {string} name
 */
export function figure(data, name) {
  const text = textOf(data, name);
  return text === "" ? undefined : Number(text);
}
