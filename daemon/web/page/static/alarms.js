// The standing alarms: those that nobody has seen first.
import { change } from "./api.js";
import { button, h, keyed, setText, show } from "./dom.js";
import { age, clockTime, secondsUntil } from "./format.js";

const unseen = (row) => row.state === "unacknowledged";

// orderAlarms puts those that nobody has seen first, and within both the newest first.
export function orderAlarms(rows) {
  return [...rows].sort((a, b) => unseen(b) - unseen(a) || Date.parse(b.since) - Date.parse(a.since));
}

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
  const since = h("span", { class: "alarm-since", "aria-live": "off" });
  const seen = h("span", { class: "alarm-seen" });
  let row;
  const acknowledge = button("Acknowledge", "small", () =>
    say(refusal, async () => {
      const { answer } = await change(`alarms/${row.name}/${row.subject}/acknowledge`);
      if (answer.name) store.put("alarms", answer);
    }));
  const element = h("li", { class: "alarm" }, h("span", { class: "alarm-words" }, name, text, h("span", { class: "alarm-small" }, since, seen)), acknowledge);
  return {
    element,
    update(next) {
      row = next;
      element.dataset.state = row.state;
      element.dataset.priority = row.priority;
      setText(name, `${row.subject}: ${row.name.replaceAll("-", " ")}`);
      setText(text, row.text);
      setText(seen, unseen(row) ? `${row.priority} priority, nobody has acknowledged it` : `acknowledged${row.by ? ` by ${row.by}` : ""}`);
      acknowledge.setAttribute("aria-label", `Acknowledge ${row.name.replaceAll("-", " ")} of ${row.subject}`);
      show(acknowledge, unseen(row));
    },
    tick(now) {
      const at = Date.parse(row.since);
      setText(since, `since ${clockTime(at, now)} (${age(-secondsUntil(at, now))})`);
    },
  };
}
