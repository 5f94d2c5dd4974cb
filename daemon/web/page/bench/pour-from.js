// Which can is poured from: it is chosen once, must be stirred if it has stood, and is used past its
// last day only for a reason. A shop that registers no cans sees nothing of this.
import { change, Refused } from "../lib/api.js";
import { dateInWords } from "../lib/dates.js";
import { ask, reasonFields, reasonOf } from "../lib/dialogs.js";
import { button, h, setText, setWords, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { say } from "../lib/words.js";

const reasons = () => [say("override.trial"), say("can-choice.keeps-longer"), say("can-choice.not-past")];

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
  const stirRefusal = refusalLine();
  const override = button(say("can-choice.use-anyway"), "big", () => withChosen(askAbout));
  const expired = h("div", { class: "refusal can-expired" }, past, override);
  const stirred = button("", "big", () => withChosen(({ can }) => attempt(stirRefusal, () => change(`cans/${can}/stirred`))));
  // Stirring comes before pouring, and so stands above the order to pour.
  const stirFirst = h("div", { class: "stir-first" }, stir, stirred, stirRefusal);
  const empty = button(say("can-choice.empty"), "big quiet-button", () => withChosen(({ can }) => attempt(refusal, () => emptied(can))));
  const element = h("fieldset", { class: "chips pour-from" }, legend, h("div", { class: "chip-row" }, list, empty), expired, reason, refusal);
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
  const excused = (/** @type {API.CanChoice | undefined} */ can) => Boolean(can?.expired) && given.key === keyOf();
  const askAbout = (/** @type {API.CanChoice} */ can) => reasonDialog(can, (text) => (given = { key: keyOf(), text }));

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
    stirFirst,
    // asks returns the can that is past its last day and for which nobody has given a reason yet.
    asks() {
      const can = chosen();
      return can?.expired && !excused(can) ? can.can : "";
    },
    ask: () => withChosen(askAbout),
    /**
     * body returns the fields of a confirmation that name the can.
     * @returns {{ can?: string, can_override?: string }}
     */
    body() {
      const can = chosen();
      if (!can) return {};
      return { can: can.can, ...(excused(can) && { can_override: given.text }) };
    },
    update() {
      show(element, choices().length > 0);
      const can = chosen();
      show(stirFirst, Boolean(can?.stir));
      if (choices().length === 0) return;
      const taken = this.asks() ? undefined : can; // one that is asked about does not look chosen
      const key = JSON.stringify([place(), choices(), can?.can, taken?.can]);
      if (key !== drawn) {
        drawn = key;
        element.dataset.choices = String(choices().length);
        setText(legend, current().step === "thinner" ? say("can-choice.from") : say("can-choice.from-wiped"));
        list.replaceChildren(...choices().map((c) => chip(c, c === taken, () => {
          picked = { at: place(), can: c.can };
          drawn = "";
          this.update();
        })));
      }
      setText(past, can?.expired ?? "");
      show(expired, Boolean(can?.expired));
      setText(reason, excused(can) ? say("can-choice.used-anyway", { why: given.text }) : "");
      show(reason, excused(can));
      show(override, this.asks() !== "");
      setWords(stir, can?.stir ? say("can-choice.stir", { can: can.can, why: can.stir }) : "");
      setText(stirred, say("can-choice.stirred", { can: can?.can ?? "" }));
      empty.setAttribute("aria-label", `${empty.textContent} (${can?.can})`);
      show(empty, Boolean(can));
    },
  };
}

/**
 * expiryWords says which it is: past its last day, or not known since the clock is not set.
 * @param {API.CanChoice} c
 */
function expiryWords(c) {
  if (!c.expired) return "";
  const day = dateInWords(c.last_day ?? "");
  return c.expiry_not_known ? say("can-choice.expiry-not-known", { day }) : say("can-choice.expired", { day });
}

/**
 * @param {API.CanChoice} c
 * @param {boolean} checked
 * @param {() => void} choose
 */
function chip(c, checked, choose) {
  const note = [c.lot && say("cans.lot", { lot: c.lot }), c.colour, expiryWords(c)].filter(Boolean).join(", ");
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
    title: say("can-choice.anyway-title", { can: can.can }),
    lead: say("can-choice.anyway-lead", { why: can.expired ?? "" }),
    body: reasonFields(reasons()),
    submitLabel: say("override.use"),
    submit: (data) => take(reasonOf(data)),
  });
}
