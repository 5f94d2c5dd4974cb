// The waste log, by month and kind.
import { get, Refused } from "../lib/api.js";
import { h, setText, show } from "../lib/dom.js";
import { month } from "../lib/dates.js";
import { grams } from "../lib/format.js";
import { say } from "../lib/words.js";

/** @type {Record<string, Words.Key>} */
const kinds = {
  "left-over": "waste.left-over", "went-off": "waste.went-off", discarded: "waste.discarded", "not-known": "waste.not-known", abandoned: "waste.abandoned",
};

/** @param {string} kind */
function kindWords(kind) {
  const key = kinds[kind];
  return key ? say(key) : kind;
}

// wastePanel makes it. load asks for it and resolves to
// whether there was an answer, and parts are what goes into the page.
export function wastePanel() {
  // A narrow screen shows each row as lines; the roles keep it a table.
  const columns = [say("waste.month"), say("waste.what"), say("waste.weighed"), say("waste.batches")];
  const body = h("tbody", { role: "rowgroup" });
  const table = h("table", { class: "waste", role: "table" },
    h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, columns.map((text) => h("th", { scope: "col", role: "columnheader", text })))), body);
  const said = h("p", { class: "quiet", role: "status" });
  const parts = [h("h2", { text: say("waste.title") }), table, said,
    h("p", { class: "quiet", text: say("waste.note") }),
    h("p", {}, h("a", { class: "big-link", href: "/api/v1/waste?format=csv", download: "waste.csv", text: say("closed.csv") }))];
  show(table, false);

  async function load() {
    try {
      /** @type {API.WasteList} */
      const { waste: rows } = await get("waste");
      const waste = rows ?? [];
      show(table, waste.length > 0);
      setText(said, waste.length > 0 ? "" : say("waste.none"));
      show(said, waste.length === 0);
      body.replaceChildren(...[...waste].reverse().map((w) => {
        const cells = [month(w.month), kindWords(w.kind), w.batches > w.not_weighed ? grams(w.grams) : "–", w.not_weighed > 0 ? say("waste.not-weighed", { n: w.not_weighed, batches: w.batches }) : String(w.batches)];
        return h("tr", { role: "row" }, cells.map((text, i) => h("td", { role: "cell", class: i < 2 ? "" : "figure", text, data: { name: columns[i] ?? "" } })));
      }));
      return true;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      setText(said, error.message);
      show(said, true);
      return error.status !== 0;
    }
  }
  return { parts, load };
}
