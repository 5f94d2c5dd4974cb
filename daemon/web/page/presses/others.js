// The presses of other benches, as this bench hears them: nothing is done to them from here.
import { reach } from "../parts/axis.js";
import { boardRows, placeRow } from "./rows.js";
import { h, keyed, setText, show } from "../lib/dom.js";
import { age, secondsUntil } from "../lib/format.js";
import { axisHead } from "../parts/life.js";
import { meaningWords } from "../lib/signs.js";

// othersBatches are the batches of all other benches.
export function othersBatches(store) {
  return store.all("neighbours").flatMap((bench) => bench.batches);
}

const ago = (at, now) => age(-secondsUntil(Date.parse(at), now));

// contactWords say how a bench is heard; nothing where it is heard well.
export function contactWords({ contact, heard_at: heard }, now) {
  const last = heard ? `last heard ${ago(heard, now)}` : "not heard since this bench started";
  return {
    online: "", waiting: "Nothing has been heard of it yet", offline: `Offline, ${last}`,
    silent: `Silent, ${last}`, "no-broker": `The broker is away, ${last}`,
  }[contact] ?? contact;
}

// pressWords are why a press shows what it shows; of what is old, what it was and when.
export function pressWords(press, now) {
  if (!press.was) return press.reason;
  const when = press.as_of ? ago(press.as_of, now) : "at a time not known";
  return `${press.reason}; it was ${meaningWords(press.was).toLowerCase()} ${when}`;
}

export function othersPanel(element, { store }) {
  const list = h("div", { class: "others" });
  element.append(list);
  return {
    update(now, contact) {
      const benches = store.all("neighbours").sort((a, b) => a.bench.localeCompare(b.bench));
      show(element, benches.length > 0);
      const length = reach(store, now, othersBatches(store));
      keyed(list, benches, (bench) => bench.bench, () => benchPart());
      for (const part of list.keyedParts?.values() ?? []) part.draw(now, length, contact);
    },
  };
}

function benchPart() {
  const name = h("h2", { class: "board-bench" });
  const heard = h("p", { class: "bench-contact" });
  const none = h("p", { class: "quiet" });
  const scale = axisHead();
  const list = h("ol", { class: "board" });
  const axis = h("div", { class: "board-axis" }, scale.element, list);
  const element = h("section", { class: "other-bench" }, h("div", { class: "bench-head" }, name, heard), none, axis);
  let row;
  return {
    element,
    update(next) {
      row = next;
      setText(name, row.bench);
      element.setAttribute("aria-label", row.bench);
      element.dataset.contact = row.contact;
    },
    draw(now, length, contact) {
      setText(heard, contact ? contactWords(row, now) : "");
      const rows = boardRows(row.presses, row.batches);
      keyed(list, rows, (r) => r.key, () => otherRow());
      for (const part of list.keyedParts?.values() ?? []) part.draw(now, length, contact);
      setText(none, row.contact === "online" ? "It has named no press yet." : "Nothing is known of its presses.");
      show(none, rows.length === 0);
      show(axis, rows.length > 0);
      scale.draw(now, length);
    },
  };
}

function otherRow() {
  const part = placeRow("h3");
  let row;
  return {
    element: part.element,
    update(given) {
      row = given;
      part.place(row);
    },
    draw(now, length, contact) {
      const { press, batch } = row;
      part.lamp.draw({ press: press && { ...press, reason: pressWords(press, now) }, batch }, contact);
      part.life(batch?.ends_at && contact ? batch : null, now, length, false);
      const words = batch ? [`${batch.id} · ${batch.ink}`, batch.state === "resting" && "still rests", batch.state === "mixing" && "is being mixed"] : [];
      part.say(words.filter(Boolean).join(", "), contact && batch ? batchWords(batch, now) : "");
    },
  };
}

// batchWords say how far a batch's figures can be relied on.
function batchWords(batch, now) {
  if (batch.as_of) return `What is left of it is not known: last heard of ${ago(batch.as_of, now)}`;
  return batch.quality === "good" ? "" : `${batch.quality}: ${batch.why || "no cause given"}`;
}
