// The presses' lights: word, shape and colour.
import { change } from "../lib/api.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { meaningWords, sign } from "../lib/signs.js";

export function lightsPanel(element, { store, say }) {
  const list = h("ul", { class: "lights" });
  const none = h("p", { class: "quiet", text: "No light is set up." });
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  element.append(h("h2", { text: "Lights" }), list, none, refusal);
  return {
    // Without contact nothing is known of any light, and none may look in order.
    update(contact) {
      const rows = store.all("lights").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("lights"));
      keyed(list, rows, (row) => row.id, () => lamp(store, say, refusal));
      for (const part of list.keyedParts?.values() ?? []) part.draw(contact);
    },
  };
}

function lamp(store, say, refusal) {
  const shape = h("span", { class: "lamp-shape" });
  const name = h("span", { class: "lamp-name" });
  const word = h("strong", { class: "lamp-word" });
  const reason = h("span", { class: "lamp-reason" });
  const flashing = h("span", { class: "lamp-flash", text: "flashing" });
  let row;
  // What went off is closed, so no batch's own row could lift the stop that it left behind.
  const lift = button("The cup is off the press", "small", () =>
    say(refusal, async () => {
      await change(`batches/${row.batch}/unload`);
    }));
  const element = h("li", { class: "lamp" }, shape, h("span", { class: "lamp-text" }, name, word, reason, flashing), lift);
  let drawn = "";
  return {
    element,
    update(next) {
      row = next;
    },
    draw(contact) {
      const meaning = contact ? row.meaning : "unknown";
      const flashes = contact && row.flashing;
      element.dataset.meaning = meaning;
      element.dataset.flashing = String(flashes);
      if (drawn !== meaning) shape.replaceChildren(sign((drawn = meaning)));
      setText(name, row.press && row.press !== row.id ? `${row.id} (${row.press})` : row.id);
      setText(word, meaningWords(meaning));
      setText(reason, contact ? [row.reason, row.batch].filter(Boolean).join(", ") : "no contact with the bench");
      show(flashing, flashes);
      show(lift, contact && row.meaning === "do-not-print" && Boolean(row.batch) && !store.get("batches", row.batch));
    },
  };
}
