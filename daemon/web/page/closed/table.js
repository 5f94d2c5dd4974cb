// The batches of one day as a table.
import { day, dayName, dayTime, timeOfDay } from "../lib/dates.js";
import { h, keyed, setText, setWords } from "../lib/dom.js";
import { degrees, duration, grams, percent, spentWords } from "../lib/format.js";
import { say } from "../lib/words.js";
import { kindOf, outcome, printed } from "../parts/history.js";

// The columns, by the name that the style sheet has for them.
const columns = {
  Batch: say("closed.batch"), Ink: say("closed.ink"), Press: say("closed.press"), Mixed: say("closed.mixed"), Ended: say("closed.ended"), How: say("closed.how"),
  Age: say("closed.age"), Spent: say("closed.spent"), Air: say("closed.air"), Prints: say("closed.prints"), Left: say("closed.left"),
};
const none = "–";

/**
 * The batches of one day; whole says that there are no others of that day.
 * @typedef {{ day: string, rows: API.Ended[], whole: boolean }} Day
 */

/**
 * dayPart makes the part of one day. sheet opens the sheet of that day.
 * @param {(day: string) => unknown} sheet
 */
export function dayPart(sheet) {
  const heading = h("h3", { class: "day-name" });
  const sum = h("p", { class: "day-sum" });
  const link = h("a", { class: "day-sheet" });
  const body = h("tbody", { role: "rowgroup" });
  let shown = "";
  link.addEventListener("click", (event) => {
    event.preventDefault();
    sheet(shown);
  });
  return {
    element: h("section", { class: "day" }, h("div", { class: "day-head" }, heading, sum, link),
      h("table", { class: "closed-table", role: "table" },
        h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, Object.values(columns).map((text) => h("th", { scope: "col", role: "columnheader", text })))), body)),
    update(/** @type {Day} */ d) {
      shown = d.day;
      setText(heading, dayName(d.day));
      setText(sum, d.whole ? summary(d.rows) : "");
      setText(link, say("closed.sheet"));
      link.setAttribute("href", `/closed?day=${d.day}`);
      link.setAttribute("aria-label", `${say("closed.sheet")}: ${dayName(d.day)}`);
      keyed(body, d.rows, (b) => `${b.id} ${b.seq}`, batchRow);
    },
  };
}

/**
 * summary counts how a day's batches ended, and what they printed.
 * @param {API.Ended[]} rows
 */
export function summary(rows) {
  const count = new Map();
  for (const b of rows) count.set(b.outcome, (count.get(b.outcome) ?? 0) + 1);
  const ends = [...count].map(([word, n]) => `${outcome(word)}: ${n}`);
  return [say("closed.batches", { n: rows.length }), ends.join(", "), printed(rows)].join("; ");
}

// batchRow makes the row of a batch.
function batchRow() {
  const link = h("a", { class: "closed-link" });
  const cells = Object.entries(columns).map(([column, name]) => h("td", { role: "cell", data: { column, name } }));
  const [first, ...others] = cells;
  first?.append(link);
  return {
    element: h("tr", { role: "row", class: "closed-row" }, cells),
    update(/** @type {API.Ended} */ b) {
      link.setAttribute("href", `/batches/${encodeURIComponent(b.id)}?seq=${b.seq}`);
      setText(link, b.id);
      for (const [i, text] of facts(b).entries()) {
        const cell = others[i];
        if (!cell) continue;
        setWords(cell, text);
        cell.dataset.none = String(text === none);
      }
    },
  };
}

/**
 * facts writes what is known of a batch, in the order of the columns after the first.
 * @param {API.Ended} b
 */
function facts(b) {
  const presses = [...new Set((b.presses ?? []).map((s) => s.press))];
  const least = (/** @type {string} */ figure) => (b.at_least ? say("closed.at-least", { figure }) : figure);
  return [
    kindOf(b),
    presses.join(", ") || none,
    b.mixed_at ? (day(b.mixed_at) === day(b.closed_at) ? timeOfDay(b.mixed_at) : dayTime(b.mixed_at)) : say("closed.no-hardener"),
    timeOfDay(b.closed_at),
    b.poured_into ? say("closed.poured-into", { batch: b.poured_into }) : outcome(b.outcome),
    b.age_s === undefined ? none : least(duration(b.age_s)),
    b.spent === undefined ? none : least(spentWords(b.spent)),
    b.mean_temperature_c === undefined ? none : `${degrees(b.mean_temperature_c)}, ${percent(b.mean_humidity_pct)}`,
    b.defects ? printed([b]) : String(b.prints),
    b.left_g === undefined ? none : grams(b.left_g),
  ];
}
