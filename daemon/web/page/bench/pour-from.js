// Which can is poured from: chosen once, stirred if it has stood, and never one that is past its
// last day without a person's word. A shop that registers no cans sees nothing of this.
import { change, Refused } from "../lib/api.js";
import { ask } from "../lib/dialogs.js";
import { button, h, setText, show } from "../lib/dom.js";

const reasons = ["Only for a trial print", "Its maker says it keeps for longer", "I looked at the calendar: it is not past it"];

// pourFromPart is that part of a mix. current gives the batch, confirm confirms its step.
export function pourFromPart({ say }, current, confirm) {
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  const list = h("div", { class: "chip-row" });
  const legend = h("legend");
  const past = h("p");
  const reason = h("p", { class: "quiet" });
  const stir = h("p", { class: "can-stir" });
  const override = button("Use it all the same…", "big", () => reasonDialog(chosen(), (text) => (given = { key: keyOf(), text })));
  const expired = h("div", { class: "refusal can-expired" }, past, override);
  const stirred = button("It is stirred", "big", () => say(refusal, () => change(`cans/${chosen().can}/stirred`)));
  const empty = button("It is empty now", "big quiet-button", () => say(refusal, () => emptied(chosen().can)));
  const element = h("fieldset", { class: "chips pour-from" }, legend, h("div", { class: "chip-row" }, list, empty), expired, reason, stir,
    stirred, refusal);
  let drawn = "";
  let picked = { at: "", can: "" }; // at a step of a batch
  let given = { key: "", text: "" }; // a reason, for one can in one batch
  const place = () => `${current().id} ${current().step}`;
  const keyOf = () => `${current().id} ${chosen()?.can}`;
  const choices = () => current()?.pour_from ?? [];
  const chosen = () => choices().find((c) => picked.at === place() && c.can === picked.can) ??
    choices().find((c) => c.in_use) ?? (choices().length === 1 ? choices()[0] : undefined);

  // emptied takes what has been poured so far as from this can, and says that it is empty.
  async function emptied(can) {
    try {
      await confirm({ can });
    } catch (error) {
      if (!(error instanceof Refused && error.code === "nothing-poured")) throw error;
    }
    await change(`cans/${can}/emptied`);
    picked = { at: "", can: "" };
  }

  return {
    element,
    // body is what a confirm says of the can.
    body() {
      const can = chosen();
      if (!can) return {};
      return { can: can.can, ...(can.expired && given.key === keyOf() && { can_override: given.text }) };
    },
    update() {
      show(element, choices().length > 0);
      if (choices().length === 0) return;
      const can = chosen();
      const key = JSON.stringify([place(), choices(), can?.can]);
      if (key !== drawn) {
        drawn = key;
        setText(legend, current().step === "thinner" ? "Poured from" : "Poured from (wipe its rim first: what dries there falls in)");
        list.replaceChildren(...choices().map((c) => chip(c, c === can, () => {
          picked = { at: place(), can: c.can };
          this.update();
        })));
      }
      const excused = Boolean(can?.expired) && given.key === keyOf();
      setText(past, can?.expired ?? "");
      show(expired, Boolean(can?.expired));
      setText(reason, excused ? `Used all the same: ${given.text}` : "");
      show(reason, excused);
      show(override, Boolean(can?.expired) && !excused);
      setText(stir, can?.stir ? `First stir can ${can.can} to the bottom: ${can.stir}. Pigment settles.` : "");
      show(stir, Boolean(can?.stir));
      setText(stirred, `Can ${can?.can} is stirred`);
      show(stirred, Boolean(can?.stir));
      empty.setAttribute("aria-label", `It is empty now (${can?.can})`);
      show(empty, Boolean(can));
    },
  };
}

function chip(c, checked, choose) {
  const note = [c.lot && `lot ${c.lot}`, c.colour, c.expired && "past its day, or not known"].filter(Boolean).join(", ");
  const input = h("input", { type: "radio", name: "pour-from", value: c.can, checked });
  input.addEventListener("change", choose);
  return h("label", { class: "chip" }, input, h("span", { class: "chip-body" }, h("span", { text: c.can }), note && h("small", { text: note })));
}

function reasonDialog(can, take) {
  const text = h("textarea", { name: "reason", rows: 2, required: true, maxlength: 200 });
  const quick = reasons.map((words) => button(words, "big", () => {
    text.value = words;
    text.focus();
  }));
  ask({
    title: `Use can ${can.can} all the same?`,
    lead: `${can.expired} Your reason will be kept with this batch, and shown on it.`,
    body: [h("div", { class: "quick" }, quick), h("label", { class: "field" }, h("span", { text: "Reason" }), text)],
    submitLabel: "Use it for this reason",
    submit: async (data) => take(String(data.get("reason")).replace(/\s+/g, " ").trim()),
  });
}
