// The life of each ink: by its data sheet, or as learned from the ends of this shop's batches and
// accepted by a person.
import { changeRow, get } from "../lib/api.js";
import { lifeLine } from "../parts/assumed.js";
import { runningTest, startDialog } from "./jars.js";
import { line, listPanel } from "./line.js";
import { pick } from "../lib/dialogs.js";
import { button, h, keyed, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { say } from "../lib/words.js";

/**
 * inksPanel shows them.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 */
export function inksPanel(element, tools) {
  const { store } = tools;
  const { list, none } = listPanel(element, say("inks.title"), say("inks.none"));
  return {
    update(/** @type {number} */ now) {
      const rows = store.all("inks").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("inks"));
      keyed(list, rows, (row) => row.id, () => ink(tools)).forEach((part) => part.tick(now));
    },
  };
}

/** @param {Page.Tools} tools */
function ink(tools) {
  const { store, attempt } = tools;
  const refusal = refusalLine();
  /** @type {API.InkView} */
  let row;
  const look = button(say("inks.look"), "small", () => attempt(refusal, () => learningDialog(row.id, store)));
  const back = button(say("inks.back"), "small", () => attempt(refusal, () => changeRow(store, "inks", `inks/${row.id}/revoke-learned`)));
  const jars = button(say("jars.button"), "small", () => startDialog(row.id, tools));
  const test = runningTest(tools);
  const part = line(h("div", { class: "device-actions" }, look, back, jars, refusal));
  part.element.append(test.element);
  return {
    element: part.element,
    update(/** @type {API.InkView} */ next) {
      row = next;
      show(back, Boolean(row.learned));
      show(jars, !row.jar_test);
      for (const b of [look, back, jars]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
      part.draw({
        id: row.id, stands: "fine", words: row.learned ? say("inks.by-learned") : say("inks.by-sheet"),
        facts: [lifeLine(row), row.assumed && say("inks.assumed", { what: row.assumed })],
      });
    },
    tick: (/** @type {number} */ now) => test.update(row, now),
  };
}

/**
 * learningDialog asks for the fit, which is made from the journal at that moment, and lets a person
 * accept it. A fit that cannot be accepted is shown with the reason.
 * @param {string} id
 * @param {import("../lib/store.js").Store} store
 */
async function learningDialog(id, store) {
  /** @type {API.Learning} */
  const found = await get(`inks/${id}/learning`);
  // Where there is no batch to learn from the verdict says so, and why there is nothing to use would say it again.
  const whyNot = found.ends + found.censored + found.jars > 0 ? found.why_not : "";
  const sentence = (/** @type {string} */ text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`.replace("..", ".");
  pick({
    title: say("inks.learned-title", { ink: id }),
    lead: [whyNot, found.verdict, ...(found.cautions ?? [])].flatMap((text) => text || []).map(sentence).join(" "),
    groups: [{
      legend: say("inks.from-now"),
      options: found.acceptable ? [{ label: say("inks.use"), note: say("inks.use-note"), value: "accept" }] : [],
    }],
    async submit() {
      await changeRow(store, "inks", `inks/${id}/accept-learned`);
    },
  });
}
