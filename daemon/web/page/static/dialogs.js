// A question that needs more than a button: a form in a dialog of the browser's own, which
// holds the focus and lets go of it on Escape.
import { Refused } from "./api.js";
import { button, h, show } from "./dom.js";

// ask opens a dialog. body is what stands between the heading and the buttons; submit is
// called with the form's data, may throw a refusal, which is shown, and else the dialog closes.
export function ask({ title, lead, body = [], submitLabel, danger = false, submit }) {
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const yes = h("button", { type: "submit", class: danger ? "big danger" : "big main", text: submitLabel });
  const no = button("Back", "big", () => dialog.close());
  const form = h("form", { method: "dialog" }, h("h2", { id: "dialog-title", text: title }),
    lead && h("p", { text: lead }), body, refusal, h("div", { class: "actions" }, yes, no));
  const dialog = h("dialog", { "aria-labelledby": "dialog-title" }, form);
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
    } finally {
      yes.disabled = false;
    }
  });
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
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
