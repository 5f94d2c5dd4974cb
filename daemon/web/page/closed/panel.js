// The search, and below it the batches that it finds, newest day first.
import { get, Refused, wholeTable } from "../lib/api.js";
import { dayName, isoDay } from "../lib/dates.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { refusalLine, showRefusal } from "../lib/refusal.js";
import { address, asked, dayBeside, wantedOf } from "./query.js";
import { dayPart } from "./table.js";
import { say } from "../lib/words.js";

const pageOf = 20; // batches asked for at once
const mostOfADay = 500; // batches that a day's sheet shows

/** @type {[string, string][]} */
const outcomes = [
  ["", say("closed.any")], ["used-up", say("closed.used-up")], ["discarded", say("closed.discarded")], ["went-off", say("closed.went-off")],
  ["not-known", say("closed.not-known")], ["abandoned", say("closed.abandoned")],
];

// closedPanel makes it. load asks for what is wanted at first, refresh asks again for its newest
// part, and offer fills in what can be chosen.
export function closedPanel() {
  let wanted = wantedOf(location.search);
  /** @type {API.Ended[]} */
  let rows = [];
  let next = 0;
  let asking = 0; // counts what was asked for, so that a late answer to an old question is dropped

  const inputs = {
    day: h("input", { type: "date", name: "day" }),
    press: h("select", { name: "press" }),
    ink: h("select", { name: "ink" }),
    outcome: h("select", { name: "outcome" }, outcomes.map(([value, text]) => h("option", { value, text }))),
    search: h("input", { type: "search", name: "search", maxlength: 100, autocomplete: "off" }),
  };
  const labels = { day: say("closed.day"), press: say("closed.press"), ink: say("closed.ink"), outcome: say("closed.outcome"), search: say("closed.search-for") };
  const fields = /** @type {(keyof typeof inputs)[]} */ (Object.keys(inputs)).map((name) =>
    h("label", { class: "field" }, h("span", { text: labels[name] }), h("span", { class: "field-line" }, inputs[name])));
  const all = button(say("closed.show-all"), "big quiet-button", () => find({ day: "", press: "", ink: "", outcome: "", search: "" }));
  const form = h("form", { class: "closed-form", role: "search" }, fields, h("button", { type: "submit", class: "big", text: say("closed.search") }), all);
  const turn = (/** @type {number} */ days) => find({ ...wanted, day: dayBeside(wanted.day, days) });
  const before = button(say("closed.day-before"), "big", () => turn(-1));
  const after = button(say("closed.day-after"), "big", () => turn(1));
  const sheet = h("div", { class: "actions closed-sheet" }, before, after, button(say("closed.print"), "big prints", () => window.print()));
  const title = h("p", { class: "sheet-title" });
  const said = h("p", { class: "quiet", role: "status" });
  const refusal = refusalLine();
  const days = h("div", { class: "days" });
  const more = button(say("closed.further"), "big", () => ask(false));
  const table = button(say("closed.csv"), "big quiet-button csv-button", save);

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    find(read());
  });
  form.addEventListener("change", (event) => {
    if (event.target !== inputs.search) find(read());
  });

  function read() {
    return { day: inputs.day.value, press: inputs.press.value, ink: inputs.ink.value, outcome: inputs.outcome.value, search: inputs.search.value.trim() };
  }

  /** @param {import("./query.js").Wanted} what */
  function find(what) {
    wanted = what;
    history.replaceState(null, "", `/closed${address(wanted)}`);
    return ask(true);
  }

  /**
   * ask asks for batches: from the first, or for those further back. It resolves to whether there was an answer.
   * @param {boolean} first
   */
  async function ask(first) {
    const mine = ++asking;
    try {
      const found = await pages(first ? 0 : next);
      if (mine !== asking) return true;
      rows = first ? found.rows : [...rows, ...found.rows];
      next = found.next;
      show(refusal, false);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (mine !== asking) return true;
      showRefusal(refusal, error);
      draw();
      return error.status !== 0;
    }
    draw();
    return true;
  }

  /**
   * pages asks for a page of batches, or for all of a day.
   * @param {number} from
   */
  async function pages(from) {
    /** @type {API.Ended[]} */
    const found = [];
    let at = from;
    do {
      /** @type {API.EndedList} */
      const page = await get(asked(wanted, { limit: wanted.day ? 100 : pageOf, before: at }));
      found.push(...(page.batches ?? []));
      at = page.next;
    } while (at > 0 && (wanted.day ? found.length < mostOfADay : found.length === 0));
    return { rows: found, next: at };
  }

  // save puts every batch that is asked for into one file, also those that the page does not show yet.
  async function save() {
    setText(table, say("closed.csv-collecting"));
    try {
      const file = URL.createObjectURL(new Blob([await wholeTable(asked(wanted, { limit: 100, format: "csv" }))], { type: "text/csv" }));
      h("a", { href: file, download: "batches.csv" }).click();
      setTimeout(() => URL.revokeObjectURL(file), 60_000); // some browsers begin to save later
      show(refusal, false);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      showRefusal(refusal, error);
    } finally {
      setText(table, say("closed.csv"));
    }
  }

  function draw() {
    /** @type {import("./table.js").Day[]} */
    const list = [];
    for (const b of rows) {
      const day = isoDay(b.closed_at);
      const last = list.at(-1);
      if (last?.day === day) last.rows.push(b);
      else list.push({ day, rows: [b], whole: true });
    }
    const last = list.at(-1);
    if (last && next > 0) last.whole = false;
    keyed(days, list, (d) => d.day, () => dayPart((day) => find({ ...wanted, day })));
    inputs.day.value = wanted.day;
    inputs.outcome.value = wanted.outcome;
    inputs.search.value = wanted.search;
    for (const select of [inputs.press, inputs.ink]) choices(select, [...select.options].map((o) => o.value).filter(Boolean), select === inputs.press ? wanted.press : wanted.ink);
    show(all, address(wanted) !== "");
    show(sheet, wanted.day !== "");
    show(title, wanted.day !== "");
    setText(title, [say("closed.title"), wanted.day && dayName(wanted.day), wanted.press, wanted.ink, outcomes.find(([value]) => value && value === wanted.outcome)?.[1], wanted.search].filter(Boolean).join(", "));
    days.dataset.sheet = String(wanted.day !== "");
    setText(said, rows.length > 0 ? "" : wanted.day ? say("closed.none-on", { day: dayName(wanted.day) }) : address(wanted) ? say("closed.none-found") : say("closed.none"));
    show(said, rows.length === 0 && refusal.hidden); // what was not answered may have batches
    show(more, next > 0);
  }

  /**
   * choices puts what can be chosen into a select, and what is chosen though it is not among them.
   * @param {HTMLSelectElement} select
   * @param {string[]} ids
   * @param {string} chosen
   */
  function choices(select, ids, chosen) {
    const all = ["", ...new Set([...ids, ...(chosen ? [chosen] : [])])];
    if (all.join("\n") !== [...select.options].map((o) => o.value).join("\n")) select.replaceChildren(...all.map((value) => h("option", { value, text: value || say("closed.any") })));
    select.value = chosen;
  }

  return {
    parts: [h("h2", { text: say("closed.title") }), form, sheet, title, refusal, said, days, h("div", { class: "actions" }, more, table)],
    load: () => ask(true),
    refresh() {
      if (document.visibilityState === "visible" && rows.length <= pageOf) ask(true);
    },
    /** @param {import("../lib/store.js").Store} store */
    offer(store) {
      choices(inputs.press, store.all("presses").map((p) => p.id), wanted.press);
      choices(inputs.ink, store.all("inks").map((i) => i.id), wanted.ink);
    },
  };
}
