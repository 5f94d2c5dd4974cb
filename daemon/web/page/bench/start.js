// Starting a mix: ink, press or cup, colour class, artwork; what was chosen last comes first.
import { change } from "../lib/api.js";
import { recordDialog } from "../parts/batch-dialogs.js";
import { lastFirst, latest, remember } from "../lib/choices.js";
import { chips, field, figure } from "../lib/dialogs.js";
import { button, h, show } from "../lib/dom.js";
import { recipePart } from "./recipe.js";
import { assumedLine } from "../parts/assumed.js";

const colourClasses = [
  { value: "dark", label: "dark" }, { value: "light", label: "light" }, { value: "heavy-light", label: "heavy light" },
];
const artworks = [
  { value: "fine-detail", label: "fine detail" }, { value: "normal", label: "normal" }, { value: "large-solid", label: "large solid" },
];

export function startPanel({ store, say, scale }) {
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const form = h("form", { class: "start-form" });
  const element = h("section", { class: "mix start", "aria-label": "Start a mix" }, h("h2", { class: "mix-head", text: "Start a mix" }), form, refusal);
  const start = h("button", { type: "submit", class: "big main", text: "Start this mix" });
  const byHand = button("Record one mixed by hand…", "big quiet-button", () => recordDialog(store));
  const sheet = h("p", { class: "sheet" });
  const recipe = recipePart();
  form.addEventListener("change", () => drawSheet());
  form.addEventListener("input", () => drawSheet());
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (start.disabled) return;
    start.disabled = true;
    await say(refusal, () => send(new FormData(form)));
    start.disabled = false;
  });
  const drawSheet = () => {
    const ink = store.get("inks", new FormData(form).get("ink"));
    sheet.replaceChildren(...(ink ? assumedLine(ink) : []));
    const data = new FormData(form);
    // Another share of thinner than the usual start is kept with its reason.
    const other = figure(data, "thinner_pct") !== undefined;
    const reason = form.querySelector("[name=thinner_reason]");
    if (reason) {
      reason.required = other;
      show(reason.closest("label"), other);
    }
    const query = bodyOf(data);
    if (query.ink && query.scale) recipe.ask(query);
  };
  function bodyOf(data) {
    const [kind, id] = String(data.get("where")).split(":");
    const body = {
      scale: scale(), ink: data.get("ink"), [kind]: id,
      colour_class: data.get("colour_class"), artwork: data.get("artwork"),
    };
    for (const name of ["ink_g", "thinner_pct"]) {
      const value = figure(data, name);
      if (value !== undefined) body[name] = value;
    }
    return body;
  }
  async function send(data) {
    const body = bodyOf(data);
    const reason = String(data.get("thinner_reason") ?? "").trim();
    if (body.thinner_pct !== undefined && reason) body.thinner_reason = reason;
    const { answer } = await change("batches", body);
    for (const name of ["ink", "where", "colour_class", "artwork"]) remember(name, String(data.get(name)));
    form.reset();
    if (answer.id) store.put("batches", answer);
  }
  let drawn = "";
  return {
    element,
    // update makes the form anew only when what can be chosen has changed.
    update() {
      const inks = store.all("inks");
      const presses = store.all("presses");
      const key = JSON.stringify([inks.map((i) => [i.id, i.assumed]), presses.map((p) => [p.id, p.cup, p.batch])]);
      if (key === drawn) return;
      drawn = key;
      const before = new FormData(form);
      const keep = (name, first) => before.get(name) ?? latest(name) ?? first;
      form.replaceChildren(...fields(inks, presses, keep), recipe.element, sheet, h("div", { class: "actions" }, start, byHand));
      drawSheet();
      show(form, inks.length > 0);
    },
  };
}

// fields are what is chosen; keep gives the choice that stands, or was made last.
function fields(inks, presses, keep) {
  const amount = { type: "number", step: "any", inputmode: "decimal" };
  return [
    ordered("Ink", "ink", inks.map((i) => ({ value: i.id, label: i.id, note: `${i.hardener_ratio} by weight` })), keep("ink")),
    ordered("For", "where", where(presses), keep("where")),
    h("div", { class: "pair" },
      chips({ legend: "Colour", name: "colour_class", options: colourClasses, chosen: keep("colour_class", "dark") }),
      chips({ legend: "Artwork", name: "artwork", options: artworks, chosen: keep("artwork", "normal") })),
    h("details", {}, h("summary", { text: "Other amounts" }), h("div", { class: "pair" },
      field({ label: "Ink", unit: "g", name: "ink_g", min: 1, max: 100000, hint: "empty: the cup's minimum", ...amount }),
      field({
        label: "Thinner", unit: "%", name: "thinner_pct", min: 0, max: 100,
        hint: "of ink and hardener together; empty: from colour and artwork", ...amount,
      }),
      field({ label: "Why this much thinner", name: "thinner_reason", type: "text", maxlength: 200, hint: "is kept with the batch" }))),
  ];
}

// where lists the presses, and each cup by itself.
function where(presses) {
  const cups = [...new Set(presses.map((p) => p.cup))];
  return [
    ...presses.map((p) => ({ value: `press:${p.id}`, label: p.id, note: p.batch ? `${p.cup}, holds ${p.batch}` : p.cup })),
    ...cups.map((c) => ({ value: `cup:${c}`, label: c, note: "no press yet" })),
  ];
}

// ordered are chips with the last choices first and one of them always chosen.
function ordered(legend, name, options, wanted) {
  const values = lastFirst(name, options.map((o) => o.value));
  return chips({
    legend, name, options: values.map((v) => options.find((o) => o.value === v)),
    chosen: values.includes(wanted) ? wanted : values[0],
  });
}
