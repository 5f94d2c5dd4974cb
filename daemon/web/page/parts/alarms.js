// The alarms: those that nobody has acknowledged first, those that are silent last.
import { change } from "../lib/api.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { age, clockTime, secondsUntil } from "../lib/format.js";

// Returned: the cause is gone, and nobody has acknowledged that it was there.
export const unseen = (row) => row.state === "unacknowledged" || row.state === "returned";
const silent = (row) => ["shelved", "suppressed", "out-of-service"].includes(row.state);

// orderAlarms puts those that nobody has seen first and silent ones last, and among equals
// the newest first.
export function orderAlarms(rows) {
  return [...rows].sort((a, b) => unseen(b) - unseen(a) || silent(a) - silent(b) || Date.parse(b.since) - Date.parse(a.since));
}

// said is an alarm's state in words.
export function said(row, now) {
  const by = row.by ? ` by ${row.by}` : "";
  const until = row.until ? ` until ${clockTime(Date.parse(row.until), now)}` : "";
  switch (row.state) {
    case "unacknowledged":
      return `${row.priority} priority, nobody has acknowledged it`;
    case "returned":
      return "its cause is gone; nobody has acknowledged it";
    case "acknowledged":
      return `acknowledged${by}`;
    case "shelved":
      return `put aside${by}${until}`;
    case "suppressed":
      return "silent by design";
    case "out-of-service":
      return `under maintenance${by}${until}`;
  }
  return row.state;
}

const shelfHour = 3600e3;

export function alarmsPanel(element, { store, say }) {
  const list = h("ul", { class: "alarms", "aria-live": "polite" });
  const none = h("p", { class: "quiet", text: "No alarm stands." });
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  element.append(h("h2", { text: "Alarms" }), list, none, refusal);
  return {
    update(now) {
      const rows = orderAlarms(store.all("alarms"));
      show(none, rows.length === 0 && store.loaded.has("alarms"));
      keyed(list, rows, (row) => `${row.name}/${row.subject}`, () => alarm(store, say, refusal));
      for (const part of list.keyedParts?.values() ?? []) part.tick(now);
      return rows.filter(unseen).length;
    },
  };
}

function alarm(store, say, refusal) {
  const text = h("span", { class: "alarm-text" });
  const name = h("strong", { class: "alarm-name" });
  const response = h("span", { class: "alarm-response" });
  const since = h("span", { class: "alarm-since", "aria-live": "off" });
  const seen = h("span", { class: "alarm-seen" });
  let row;
  let at = 0; // the bench's time
  const ask = (verb, body) => () =>
    say(refusal, async () => {
      const { answer } = await change(`alarms/${row.name}/${row.subject}/${verb}`, body?.());
      if (answer.name) store.put("alarms", answer);
    });
  const buttons = {
    acknowledge: button("Acknowledge", "small", ask("acknowledge")),
    shelve: button("Put aside for 1 h", "small", ask("shelve", () => ({ until: new Date(at + shelfHour).toISOString() }))),
    unshelve: button("Watch it again", "small", ask("unshelve")),
  };
  const small = h("span", { class: "alarm-small" }, since, seen);
  const element = h("li", { class: "alarm" }, h("span", { class: "alarm-words" }, name, text, response, small),
    h("span", { class: "alarm-actions" }, Object.values(buttons)));
  return {
    element,
    update(next) {
      row = next;
      element.dataset.state = row.state;
      element.dataset.priority = row.priority;
      const words = row.name.replaceAll("-", " ");
      setText(name, `${row.subject}: ${words}`);
      setText(text, row.text);
      setText(response, row.response ?? "");
      show(response, Boolean(row.response) && (row.state === "unacknowledged" || row.state === "acknowledged"));
      for (const b of Object.values(buttons)) b.setAttribute("aria-label", `${b.textContent}: ${words} of ${row.subject}`);
      show(buttons.acknowledge, unseen(row));
      show(buttons.shelve, row.state === "unacknowledged" || row.state === "acknowledged");
      show(buttons.unshelve, row.state === "shelved");
    },
    tick(now) {
      at = now;
      const from = Date.parse(row.since);
      setText(seen, said(row, now));
      setText(since, `since ${clockTime(from, now)} (${age(-secondsUntil(from, now))})`);
    },
  };
}
