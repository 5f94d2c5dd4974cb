// A question that needs more than a button: a form in a dialog of the browser's own, which
// holds the focus and lets go of it on Escape.
import { Refused } from "./api.js";
import { button, h, show } from "./dom.js";

// ask opens a dialog. body is what stands between the heading and the buttons; submit is
// called with the form's data, may throw a refusal, which is shown, and else the dialog closes;
// closed is called then, or when the person goes back.
export function ask({ title, lead, body = [], submitLabel, danger = false, submit, closed }) {
  const id = newTitle();
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const yes = h("button", { type: "submit", class: danger ? "big danger" : "big main", text: submitLabel });
  const no = button("Back", "big", () => dialog.close());
  const form = h("form", { method: "dialog" }, h("h2", { id, text: title }),
    lead && h("p", { text: lead }), body, refusal, h("div", { class: "actions" }, yes, no));
  const dialog = h("dialog", { "aria-labelledby": id }, form);
  if (closed) dialog.addEventListener("close", closed);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (yes.disabled) return;
    yes.disabled = true;
    show(refusal, false);
    try {
      await submit(new FormData(form));
      dialog.close();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      refusal.textContent = error.message;
      show(refusal, true);
      refusal.scrollIntoView({ block: "nearest" });
    } finally {
      yes.disabled = false;
    }
  });
  open(dialog);
}

function open(dialog) {
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

let titles = 0;

// newTitle names a heading: while one dialog is open, another may be asked for on top of it.
const newTitle = () => `dialog-title-${++titles}`;

export const bounceMs = 500; // a glove that taps twice does not mean what has just come up under it

// pick opens a dialog in which one tap answers. groups are {legend, options}, options are
// {label, note, value}; submit is called with the value, and may throw a refusal;
// what it returns is run once the dialog is gone.
export function pick({ title, lead, groups, submit }) {
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const opened = performance.now();
  let busy = false;
  const answer = async (value) => {
    busy = true;
    show(refusal, false);
    try {
      const next = await submit(value);
      dialog.close();
      next?.();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      refusal.textContent = error.message;
      show(refusal, true);
    } finally {
      busy = false;
    }
  };
  const option = ({ label, note, value }) => {
    const b = h("button", { type: "button", class: "big option" }, h("span", { text: label }), note && h("small", { text: note }));
    b.addEventListener("click", (event) => {
      // Only a tap bounces: a key has no detail.
      if (busy || (event.detail > 0 && performance.now() - opened < bounceMs)) return;
      answer(value);
    });
    return b;
  };
  const id = newTitle();
  const dialog = h("dialog", { "aria-labelledby": id }, h("form", { method: "dialog" },
    h("h2", { id, text: title }), lead && h("p", { text: lead }),
    groups.filter((g) => g.options.length > 0).map((g) => h("fieldset", { class: "chips" }, h("legend", { text: g.legend }),
      h("div", { class: "chip-row" }, g.options.map(option)))),
    refusal, h("div", { class: "actions" }, button("Back", "big", () => dialog.close()))));
  open(dialog);
}

// chips makes a group of large radio buttons. options are {value, label, note}.
export function chips({ legend, name, options, chosen, required = true }) {
  return h("fieldset", { class: "chips" }, h("legend", { text: legend }),
    h("div", { class: "chip-row" }, options.map((o) => h("label", { class: "chip" },
      h("input", { type: "radio", name, value: o.value, required, checked: o.value === chosen }),
      h("span", { class: "chip-body" }, h("span", { text: o.label }), o.note && h("small", { text: o.note }))))));
}

// field makes a labelled input; the unit stands behind it.
export function field({ label, unit, hint, ...attributes }) {
  return h("label", { class: "field" }, h("span", { text: label }),
    h("span", { class: "field-line" }, h("input", attributes), unit && h("span", { text: unit })),
    hint && h("small", { text: hint }));
}

// figure reads a number from a form; undefined when it was left empty.
export function figure(data, name) {
  const text = String(data.get(name) ?? "").trim();
  return text === "" ? undefined : Number(text);
}
