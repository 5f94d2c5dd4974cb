// The instruments that follow batches, such as a torque: shown where the configuration has some.
import { get } from "../lib/api.js";
import { dayTime } from "../lib/dates.js";
import { h, keyed, show } from "../lib/dom.js";
import { number } from "../lib/format.js";
import { say } from "../lib/words.js";
import { conditions } from "./condition.js";
import { line } from "./line.js";

const digits = 4; // of a value whose unit the bench does not know

/**
 * rowOf is an instrument as a line of the page. What is wrong with its values puts one that answers in doubt.
 * @param {API.TrendInstrument} row
 */
export function rowOf(row) {
  const known = conditions[row.condition] ?? { stands: /** @type {import("./condition.js").Standing} */ ("unknown"), words: row.condition };
  const { stands, words } = row.doubted && known.stands === "fine" ? { stands: /** @type {import("./condition.js").Standing} */ ("doubt"), words: say("devices.in-doubt") } : known;
  const value = row.value ?? 0;
  const places = value === 0 ? 0 : Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value))));
  return {
    id: row.id,
    stands,
    words,
    detail: row.detail ?? "",
    reading: row.value === undefined ? "" : number(value, Math.min(places, 6)),
    facts: [
      row.batch ? say("trends.follows", { batch: row.batch, press: row.press }) : say("trends.no-batch", { press: row.press }),
      row.read_at && say("trends.read", { at: dayTime(row.read_at) }),
      row.doubted,
      row.text,
    ],
  };
}

/**
 * trendsPanel lists them. update asks for them; the element stays empty while there are none.
 */
export function trendsPanel() {
  const list = h("ul", { class: "devices" });
  const element = h("div", { hidden: "" }, h("h2", { text: say("trends.title") }), h("p", { class: "quiet", text: say("trends.about") }), list);
  async function update() {
    /** @type {API.TrendList} */
    let known;
    try {
      known = await get("trends");
    } catch {
      return; // Contact is judged by the stream.
    }
    const rows = known.trends ?? [];
    show(element, rows.length > 0);
    keyed(list, rows, (row) => row.id, (/** @type {API.TrendInstrument} */ row) => {
      const part = line(null);
      part.draw(rowOf(row));
      return { element: part.element, update: (/** @type {API.TrendInstrument} */ next) => part.draw(rowOf(next)) };
    });
  }
  return { element, update };
}
