// The alarms: by priority, and among equals the one that has stood longest first. Those whose cause is
// gone come after them. Muted ones, and those that another page is for, are folded behind their count.
import { changeRow } from "../lib/api.js";
import { button, h, keyed, setText, setWords, show } from "../lib/dom.js";
import { refusalLine } from "../lib/refusal.js";
import { age, clockTime, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { who } from "./terms.js";

/**
 * Returned: the cause is gone, and nobody has acknowledged that it was there.
 * @param {API.AlarmView} row
 */
export const notAcknowledged = (row) => row.state === "unacknowledged" || row.state === "returned";
/** @param {API.AlarmView} row */
const silent = (row) => ["shelved", "suppressed", "out-of-service"].includes(row.state);

/**
 * mutedWords counts alarms that are muted. Those that a person has snoozed have the word of their button.
 * @param {API.AlarmView[]} muted
 */
export function mutedWords(muted) {
  const n = muted.length;
  const snoozed = muted.filter((row) => row.state === "shelved").length;
  if (snoozed === n) return say("alarms.n-snoozed", { n });
  return snoozed === 0 ? say("alarms.muted", { n }) : say("alarms.muted-snoozed", { n });
}

const priorities = ["high", "medium", "low"];

// The alarms of a batch that grows old. Each tells more than the ones before it, and replaces them.
const ofAge = ["batch-ending", "batch-risk", "batch-dead"];

/**
 * replacedBy returns the alarms of the same batch that an alarm replaces while its cause holds and it
 * is not muted.
 * @param {API.AlarmView[]} rows
 * @param {API.AlarmView} row
 */
function replacedBy(rows, row) {
  const stage = row.state === "returned" || silent(row) ? -1 : ofAge.indexOf(row.name);
  return rows.filter((r) => r.subject === row.subject && ofAge.includes(r.name) && ofAge.indexOf(r.name) < stage);
}

/**
 * standing returns the alarms without those that a later one replaces.
 * @param {API.AlarmView[]} rows
 */
export function standing(rows) {
  const replaced = new Set(rows.flatMap((row) => replacedBy(rows, row)));
  return rows.filter((row) => !replaced.has(row));
}

/**
 * countAlarms returns how many alarms ask for a person, which is the count of every page.
 * @param {API.AlarmView[]} rows
 */
export const countAlarms = (rows) => standing(rows).filter(notAcknowledged).length;

/**
 * subjectWords names what an alarm is about; a batch with its ink and its press, where they are known.
 * @param {Pick<API.AlarmView, "about" | "subject">} row
 * @param {Pick<import("../lib/store.js").Store, "get">} store
 */
export function subjectWords({ about, subject }, store) {
  const batch = about === "batch" ? store.get("batches", subject) : undefined;
  if (!batch) return subject;
  const words = { batch: subject, ink: batch.ink };
  return batch.press ? say("alarms.of-batch-on", { ...words, press: batch.press }) : say("alarms.of-batch", words);
}

/**
 * gravest names the first of the alarms that ask for a person; empty where there is none.
 * @param {API.AlarmView[]} rows
 * @param {Pick<import("../lib/store.js").Store, "get">} store
 */
export function gravest(rows, store) {
  const first = orderAlarms(rows).shown.find(notAcknowledged);
  return first ? `${subjectWords(first, store)}: ${first.title}` : "";
}

/**
 * ofPrinting tells whether an alarm is about ink or a press, not about what measures and shows.
 * @param {API.AlarmView} row
 */
export const ofPrinting = (row) => row.about === "batch" || row.about === "press";

/**
 * orderAlarms splits alarms into those to show, in their order, and the muted ones. A priority that
 * this page does not know comes first.
 * @param {API.AlarmView[]} rows
 */
export function orderAlarms(rows) {
  const rank = (/** @type {API.AlarmView} */ row) => priorities.indexOf(row.priority);
  const sorted = standing(rows).sort((a, b) => Number(a.state === "returned") - Number(b.state === "returned") || rank(a) - rank(b)
    || Date.parse(a.since) - Date.parse(b.since) || `${a.name}/${a.subject}`.localeCompare(`${b.name}/${b.subject}`));
  return { shown: sorted.filter((row) => !silent(row)), muted: sorted.filter(silent) };
}

/**
 * stateWords writes an alarm's state.
 * @param {API.AlarmView} row
 * @param {number} now
 */
export function stateWords(row, now) {
  const by = who(row.by);
  const until = row.until ? clockTime(Date.parse(row.until), now) : "–";
  /** @type {string} */
  const state = row.state;
  switch (state) {
    case "unacknowledged":
      return row.priority === "high" ? say("alarms.high") : row.priority === "medium" ? say("alarms.medium") : say("alarms.low");
    case "returned":
      return say("alarms.over");
    case "acknowledged":
      return say("alarms.acknowledged", { by });
    case "shelved":
      return say("alarms.snoozed", { by, until });
    case "suppressed":
      return say("alarms.suppressed");
    case "out-of-service":
      return say("alarms.maintenance", { by, until });
  }
  return state; // one that this page does not know
}

const hour = 3600e3;

// When each button is there.
const may = {
  acknowledge: notAcknowledged,
  shelve: (/** @type {API.AlarmView} */ row) => row.state === "unacknowledged" || row.state === "acknowledged",
  unshelve: (/** @type {API.AlarmView} */ row) => row.state === "shelved",
};

/**
 * alarmsPanel shows the alarms in an element. update returns how many are not acknowledged.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 * @param {(row: API.AlarmView) => boolean} [elsewhere] tells which ones are folded, since another page is for them
 */
export function alarmsPanel(element, tools, elsewhere = () => false) {
  const { store } = tools;
  const list = h("ul", { class: "alarms", "aria-live": "polite" });
  const [quiet, other] = [folded("alarms-muted"), folded("alarms-elsewhere")];
  const none = h("p", { class: "quiet", text: say("alarms.none") });
  const refusal = refusalLine();
  element.append(h("h2", { text: say("alarms.title") }), list, none, refusal, other.element, quiet.element);
  return {
    update(/** @type {number} */ now) {
      const rows = store.all("alarms");
      const { shown, muted } = orderAlarms(rows);
      const [here, there] = [shown.filter((row) => !elsewhere(row)), shown.filter(elsewhere)];
      show(none, shown.length === 0 && store.loaded.has("alarms"));
      other.count(there.length, say("alarms.of-printing", { n: there.length }));
      quiet.count(muted.length, mutedWords(muted));
      for (const [place, some] of /** @type {const} */ ([[list, here], [other.list, there], [quiet.list, muted]])) {
        for (const part of keyed(place, some, (row) => `${row.name}/${row.subject}`, () => alarm(tools, refusal))) part.tick(now);
      }
      return countAlarms(rows);
    },
  };
}

/**
 * folded is a list of alarms behind their count.
 * @param {string} name of its class
 */
function folded(name) {
  const list = h("ul", { class: "alarms" });
  const words = h("summary");
  const element = h("details", { class: name }, words, list);
  return {
    element,
    list,
    count(/** @type {number} */ n, /** @type {string} */ text) {
      show(element, n > 0);
      setText(words, text);
    },
  };
}

/**
 * @param {Page.Tools} tools
 * @param {HTMLElement} refusal
 */
function alarm({ store, attempt }, refusal) {
  const text = h("span", { class: "alarm-text" });
  const name = h("strong", { class: "alarm-name" });
  const response = h("span", { class: "alarm-response" });
  const since = h("span", { class: "alarm-since", "aria-live": "off" });
  const seen = h("span", { class: "alarm-seen" });
  const raw = h("p", { class: "alarm-raw" });
  const detail = h("details", { class: "alarm-detail" }, h("summary", { text: say("dialog.details") }), raw);
  const help = h("a", { class: "help-link", text: say("alarms.help") });
  /** @type {API.AlarmView} */
  let row;
  let at = 0; // the bench's time
  /**
   * @param {keyof typeof may} verb
   * @param {() => object} [body]
   */
  const ask = (verb, body) => () => attempt(refusal, async () => {
    // What it replaces is seen and snoozed with it, or its light would go on flashing for nothing that is shown.
    for (const { name, subject } of [row, ...replacedBy(store.all("alarms"), row).filter(may[verb])]) await changeRow(store, "alarms", `alarms/${name}/${subject}/${verb}`, body?.());
  });
  const buttons = {
    acknowledge: button(say("alarms.acknowledge"), "small", ask("acknowledge")),
    shelve: button(say("alarms.shelve"), "small", ask("shelve", () => ({ until: new Date(at + hour).toISOString() }))),
    unshelve: button(say("alarms.unshelve"), "small", ask("unshelve")),
  };
  const small = h("span", { class: "alarm-small" }, since, seen);
  const element = h("li", { class: "alarm" }, h("span", { class: "alarm-words" }, name, text, response, small, help, detail),
    h("span", { class: "alarm-actions" }, Object.values(buttons)));
  return {
    element,
    update(/** @type {API.AlarmView} */ next) {
      row = next;
      element.dataset.state = row.state;
      element.dataset.priority = row.priority;
      const words = row.title;
      setWords(name, `${subjectWords(row, store)}: ${words}`);
      // The text of an alarm may say what to do, and there is nothing to be done any more.
      const over = row.state === "returned" && row.name !== "life-cut"; // which has a text for its end
      setWords(text, over ? "" : row.text);
      show(text, !over);
      setText(raw, [over && row.text, row.detail].filter(Boolean).join(" "));
      show(detail, Boolean(raw.textContent));
      help.href = `/help#${row.name}`;
      help.setAttribute("aria-label", `${help.textContent}: ${words}`);
      setWords(response, row.response ?? "");
      show(response, Boolean(row.response) && (row.state === "unacknowledged" || row.state === "acknowledged"));
      for (const b of Object.values(buttons)) b.setAttribute("aria-label", `${b.textContent}: ${row.subject}, ${words}`);
      for (const verb of /** @type {(keyof typeof may)[]} */ (Object.keys(may))) show(buttons[verb], may[verb](row));
    },
    tick(/** @type {number} */ now) {
      at = now;
      const from = Date.parse(row.since);
      setText(seen, stateWords(row, now));
      setText(since, say("alarms.since", { at: clockTime(from, now), age: age(-secondsUntil(from, now)) }));
    },
  };
}
