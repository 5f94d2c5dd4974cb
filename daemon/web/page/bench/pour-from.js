// Which can is poured from: it is chosen once, must be stirred if it has stood, and is used past its
// last day only for a reason. A shop that registers no cans sees nothing of this.
import { change, Refused } from "../lib/api.js";
import { ask, reasonFields, reasonOf } from "../lib/dialogs.js";
import { button, h, refusalLine, setText, show } from "../lib/dom.js";

const reasons = ["Only for a trial print", "Its maker says it keeps for longer", "I looked at the calendar: it is not past it"];

/**
 * pourFromPart makes that part of a mix. current returns the batch, confirm confirms its step.
 * @param {Pick<Page.Tools, "attempt">} tools
 * @param {() => API.BatchView} current
 * @param {(body: { can: string }) => Promise<unknown>} confirm
 */
export function pourFromPart({ attempt }, current, confirm) {
  const refusal = refusalLine();
  const list = h("div", { class: "chip-row" });
  const legend = h("legend");
  const past = h("p");
  const reason = h("p", { class: "quiet" });
  const stir = h("p", { class: "can-stir" });
  const override = button("Use it all the same…", "big", () => withChosen((can) => reasonDialog(can, (text) => (given = { key: keyOf(), text }))));
  const expired = h("div", { class: "refusal can-expired" }, past, override);
  const stirred = button("It is stirred", "big", () => withChosen(({ can }) => attempt(refusal, () => change(`cans/${can}/stirred`))));
  const empty = button("It is empty now", "big quiet-button", () => withChosen(({ can }) => attempt(refusal, () => emptied(can))));
  const element = h("fieldset", { class: "chips pour-from" }, legend, h("div", { class: "chip-row" }, list, empty), expired, reason, stir,
    stirred, refusal);
  let drawn = "";
  let picked = { at: "", can: "" }; // at a step of a batch
  let given = { key: "", text: "" }; // a reason, for one can in one batch
  const place = () => `${current().id} ${current().step}`;
  const keyOf = () => `${current().id} ${chosen()?.can}`;
  const choices = () => current().pour_from ?? [];
  const chosen = () => choices().find((c) => picked.at === place() && c.can === picked.can) ??
    choices().find((c) => c.in_use) ?? (choices().length === 1 ? choices()[0] : undefined);
  const withChosen = (/** @type {(can: API.CanChoice) => unknown} */ work) => {
    const can = chosen();
    return can && work(can);
  };

  /**
   * emptied books the pour so far to this can, and tells that the can is empty.
   * @param {string} can
   */
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
    /**
     * body returns the fields of a confirmation that name the can.
     * @returns {{ can?: string, can_override?: string }}
     */
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

/**
 * @param {API.CanChoice} c
 * @param {boolean} checked
 * @param {() => void} choose
 */
function chip(c, checked, choose) {
  const note = [c.lot && `lot ${c.lot}`, c.colour, c.expired && "past its day, or not known"].filter(Boolean).join(", ");
  const input = h("input", { type: "radio", name: "pour-from", value: c.can, checked });
  input.addEventListener("change", choose);
  return h("label", { class: "chip" }, input, h("span", { class: "chip-body" }, h("span", { text: c.can }), note && h("small", { text: note })));
}

/**
 * @param {API.CanChoice} can
 * @param {(text: string) => void} take
 */
function reasonDialog(can, take) {
  ask({
    title: `Use can ${can.can} all the same?`,
    lead: `${can.expired} Your reason will be kept with this batch, and shown on it.`,
    body: reasonFields(reasons),
    submitLabel: "Use it for this reason",
    submit: (data) => take(reasonOf(data)),
  });
}
