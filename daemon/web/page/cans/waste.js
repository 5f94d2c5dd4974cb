// The waste log, by month and kind.
import { get, Refused } from "../lib/api.js";
import { h, setText, show } from "../lib/dom.js";
import { grams } from "../lib/format.js";

/** @type {Record<string, string>} */
const kinds = {
  "left-over": "Left over from used up mixes", "went-off": "Went off", discarded: "Thrown away",
  "not-known": "Ended, how is not known", abandoned: "Mixes given up",
};

// wastePanel makes it. load asks for it, and parts are what goes into the page.
export function wastePanel() {
  const body = h("tbody");
  const table = h("table", { class: "waste" },
    h("thead", {}, h("tr", {}, ["Month", "What", "Weighed", "Batches"].map((text) => h("th", { scope: "col", text })))), body);
  const said = h("p", { class: "quiet", role: "status" });
  const parts = [h("h2", { text: "Waste" }), table, said,
    h("p", { class: "quiet", text: "Of the last twelve months. Cleaning solvent is not known to the bench, nor what nobody weighed." }),
    h("p", {}, h("a", { class: "big-link", href: "/api/v1/waste?format=csv", download: "waste.csv", text: "As a table for a spreadsheet (CSV)" }))];
  show(table, false);

  async function load() {
    try {
      /** @type {API.WasteList} */
      const { waste: rows } = await get("waste");
      const waste = rows ?? [];
      show(table, waste.length > 0);
      setText(said, waste.length > 0 ? "" : "Nothing was thrown away, as far as the bench knows.");
      show(said, waste.length === 0);
      body.replaceChildren(...[...waste].reverse().map((w) => h("tr", {},
        h("td", { text: w.month }), h("td", { text: kinds[w.kind] ?? w.kind }), h("td", { class: "figure", text: w.batches > w.not_weighed ? grams(w.grams) : "–" }),
        h("td", { class: "figure", text: w.not_weighed > 0 ? `${w.batches}, ${w.not_weighed} not weighed` : String(w.batches) }))));
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      setText(said, error.message);
    }
  }
  return { parts, load };
}
