// The alarms: by priority, and among equals the one that has stood longest first. Those whose cause is
// gone come after them, and muted ones are folded away behind their count.
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

const priorities = ["high", "medium", "low"];

/**
 * orderAlarms splits alarms into those to show, in their order, and the muted ones. A priority that
 * this page does not know comes first.
 * @param {API.AlarmView[]} rows
 */
export function orderAlarms(rows) {
  const rank = (/** @type {API.AlarmView} */ row) => priorities.indexOf(row.priority);
  const sorted = [...rows].sort((a, b) => Number(a.state === "returned") - Number(b.state === "returned") || rank(a) - rank(b)
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

/**
 * alarmsPanel shows the alarms in an element. update returns how many are not acknowledged.
 * @param {HTMLElement} element
 * @param {Page.Tools} tools
 */
export function alarmsPanel(element, tools) {
  const { store } = tools;
  const list = h("ul", { class: "alarms", "aria-live": "polite" });
  const folded = h("ul", { class: "alarms" });
  const count = h("summary");
  const fold = h("details", { class: "alarms-muted" }, count, folded);
  const none = h("p", { class: "quiet", text: say("alarms.none") });
  const refusal = refusalLine();
  element.append(h("h2", { text: say("alarms.title") }), list, none, refusal, fold);
  return {
    update(/** @type {number} */ now) {
      const rows = store.all("alarms");
      const { shown, muted } = orderAlarms(rows);
      show(none, rows.length === muted.length && store.loaded.has("alarms"));
      show(fold, muted.length > 0);
      setText(count, say("alarms.muted", { n: muted.length }));
      for (const [place, some] of /** @type {const} */ ([[list, shown], [folded, muted]])) {
        for (const part of keyed(place, some, (row) => `${row.name}/${row.subject}`, () => alarm(tools, refusal))) part.tick(now);
      }
      return rows.filter(notAcknowledged).length;
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
   * @param {string} verb
   * @param {() => object} [body]
   */
  const ask = (verb, body) => () =>
    attempt(refusal, () => changeRow(store, "alarms", `alarms/${row.name}/${row.subject}/${verb}`, body?.()));
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
      setWords(name, `${row.subject}: ${words}`);
      setWords(text, row.text);
      setText(raw, row.detail ?? "");
      show(detail, Boolean(row.detail));
      help.href = `/help#${row.name}`;
      help.setAttribute("aria-label", `${help.textContent}: ${words}`);
      setWords(response, row.response ?? "");
      show(response, Boolean(row.response) && (row.state === "unacknowledged" || row.state === "acknowledged"));
      for (const b of Object.values(buttons)) b.setAttribute("aria-label", `${b.textContent}: ${row.subject}, ${words}`);
      show(buttons.acknowledge, notAcknowledged(row));
      show(buttons.shelve, row.state === "unacknowledged" || row.state === "acknowledged");
      show(buttons.unshelve, row.state === "shelved");
    },
    tick(/** @type {number} */ now) {
      at = now;
      const from = Date.parse(row.since);
      setText(seen, stateWords(row, now));
      setText(since, say("alarms.since", { at: clockTime(from, now), age: age(-secondsUntil(from, now)) }));
    },
  };
}
