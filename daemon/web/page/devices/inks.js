// What is known of each ink: its data sheet's word, or what the ends of this shop's batches
// taught and somebody accepted.
import { change, get } from "../lib/api.js";
import { assumedLine } from "../parts/assumed.js";
import { line, listPanel } from "./devices.js";
import { pick } from "../lib/dialogs.js";
import { button, h, keyed, show } from "../lib/dom.js";

export function inksPanel(element, tools) {
  const { store } = tools;
  const { list, none } = listPanel(element, "What is known of the inks", "No ink is set up.");
  return {
    update() {
      const rows = store.all("inks").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("inks"));
      keyed(list, rows, (row) => row.id, () => ink(tools));
    },
  };
}

function ink(tools) {
  const { store, say } = tools;
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  let row;
  const look = button("What the batches say…", "small", () => say(refusal, () => learningDialog(row.id, store)));
  const back = button("Back to the data sheet", "small", () => say(refusal, async () => {
    const { answer } = await change(`inks/${row.id}/revoke-learned`);
    if (answer.id) store.put("inks", answer);
  }));
  const part = line(h("div", { class: "device-actions" }, look, back, refusal));
  return {
    element: part.element,
    update(next) {
      row = next;
      show(back, Boolean(row.learned));
      for (const b of [look, back]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
      const [life] = assumedLine(row);
      part.draw({
        id: row.id, stands: "fine", words: row.learned ? "Goes by what was learned here" : "Goes by its data sheet",
        details: [life, row.assumed && `assumed: ${row.assumed}`],
      });
    },
  };
}

// learningDialog asks for the fit, which is made from the journal at that moment, and lets a
// person accept it. What cannot be accepted says why.
async function learningDialog(id, store) {
  const found = await get(`inks/${id}/learning`);
  const sentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`.replace("..", ".");
  pick({
    title: `What the batches say of ${id}`,
    lead: [found.verdict, ...found.cautions, found.why_not].filter(Boolean).map(sentence).join(" "),
    groups: [{
      legend: "For batches mixed from now on",
      options: found.acceptable ? [{ label: "Go by this", note: "it can be taken back", value: "accept" }] : [],
    }],
    async submit() {
      const { answer } = await change(`inks/${id}/accept-learned`);
      if (answer.id) store.put("inks", answer);
    },
  });
}
