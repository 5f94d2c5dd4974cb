// The instruments and what the bench itself rests on, each with how far it can be trusted.
import { change } from "../lib/api.js";
import { ask, field, figure } from "../lib/dialogs.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { age, celsius, clockTime, decimalsOf, duration, grams, percent, secondsUntil } from "../lib/format.js";
import { sign } from "../lib/signs.js";

// How a thing stands: fine, to be looked at, not to be believed, or not known.
const looks = { fine: "in-order", doubt: "soon", bad: "do-not-print", unknown: "unknown", out: "empty" };

const conditions = {
  up: { stands: "fine", words: "Working" },
  stale: { stands: "bad", words: "Stale: no fresh reading" },
  down: { stands: "bad", words: "Down: it does not answer" },
  waiting: { stands: "unknown", words: "Waiting for its first reading" },
};

// conditionOf says how an instrument stands; a condition new to this page is named, not judged.
// Alarms that stand about it put in doubt what looks fine.
export function conditionOf(row, alarms, now) {
  if (row.out_of_service_until) return { stands: "out", words: `Under maintenance until ${clockTime(Date.parse(row.out_of_service_until), now)}` };
  const known = conditions[row.condition] ?? { stands: "unknown", words: row.condition };
  if (row.check_failed) return { stands: "bad", words: "Check failed: do not rely on it" };
  if (known.stands === "fine" && alarms.length > 0) return { stands: "doubt", words: "Working, but in doubt" };
  return known;
}

const qualities = { good: "Good", uncertain: "Uncertain", bad: "Not to be relied on" };
const airStands = { good: "fine", uncertain: "doubt", bad: "bad" };

// zoneState says how a zone's air stands.
export function zoneState(row) {
  return { stands: airStands[row.quality] ?? "unknown", words: [qualities[row.quality] ?? row.quality, row.why].filter(Boolean).join(": ") };
}

const about = (store, ...names) => store.all("alarms").filter((a) => names.includes(a.name) && a.state !== "returned");

// restsOn lists journal, broker and clock. checks are what the bench says of its readiness, null
// when it was not heard.
export function restsOn(store, checks) {
  const check = (name, fine, none) => {
    const c = checks?.find((x) => x.name === name);
    if (checks === null) return { stands: "unknown", words: "Not heard of" };
    if (!c) return none;
    return c.ok ? { stands: "fine", words: fine } : { stands: "bad", words: c.detail || "Missing" };
  };
  const doubted = (state, alarms) => (state.stands === "fine" && alarms.length > 0 ? { stands: "doubt", words: alarms.map((a) => a.text).join(" ") } : state);
  const clock = about(store, "clock");
  return [
    { id: "Journal", ...doubted(check("journal", "Written to disk", { stands: "unknown", words: "Not heard of" }), about(store, "journal")) },
    { id: "Broker", ...doubted(check("broker", "Connected", { stands: "out", words: "None is set up" }), about(store, "broker", "queue", "other-instance")) },
    checks === null ? { id: "Clock", stands: "unknown", words: "Not heard of" }
      : { id: "Clock", ...(clock.length > 0 ? { stands: "bad", words: clock.map((a) => a.text).join(" ") } : { stands: "fine", words: "No alarm says that it is not set" }) },
  ];
}

// line is one thing with its sign, its state in words, and what more there is to say.
export function line(buttons) {
  const shape = h("span", { class: "device-sign" });
  const name = h("h3", { class: "device-name" });
  const words = h("p", { class: "device-words" });
  const figure = h("p", { class: "device-figure" });
  const facts = h("ul", { class: "device-facts" });
  const element = h("li", { class: "device" }, shape, h("div", { class: "device-text" }, name, words, figure, facts), buttons);
  let drawn = "";
  return {
    element,
    draw({ id, stands, words: say, reading = "", details = [] }) {
      if (drawn !== stands) shape.replaceChildren(sign(looks[(drawn = stands)]));
      element.dataset.stands = stands;
      setText(name, id);
      setText(words, say);
      setText(figure, reading);
      show(figure, reading !== "");
      keyed(facts, details.filter(Boolean), (text) => text, (text) => ({ element: h("li", { text }), update() {} }));
    },
  };
}

export function listPanel(element, title, empty) {
  const list = h("ul", { class: "devices" });
  const none = h("p", { class: "quiet", text: empty });
  element.append(h("h2", { text: title }), none, list);
  return { list, none };
}

const dayOf = (at) => new Date(at).toLocaleDateString(undefined, { dateStyle: "medium" });

const since = (at, now) => `since ${clockTime(Date.parse(at), now)}, ${duration(-secondsUntil(Date.parse(at), now))}`;

export function instrumentsPanel(element, tools) {
  const { store } = tools;
  const { list, none } = listPanel(element, "Sensors and scales", "No instrument is set up.");
  return {
    update(now) {
      const rows = store.all("sensors").sort((a, b) => a.id.localeCompare(b.id));
      show(none, rows.length === 0 && store.loaded.has("sensors"));
      keyed(list, rows, (row) => row.id, () => instrument(tools));
      for (const part of list.keyedParts?.values() ?? []) part.tick(now);
    },
  };
}

function instrument(tools) {
  const { store, say } = tools;
  const refusal = h("p", { class: "refusal", role: "alert", hidden: true });
  let row;
  const out = button("Out of service…", "small", () => outDialog(row, tools));
  const back = button("Back into service", "small", () => say(refusal, async () => {
    const { answer } = await change(`sensors/${row.id}/in-service`);
    if (answer.id) store.put("sensors", answer);
  }));
  const part = line(h("div", { class: "device-actions" }, out, back, refusal));
  return {
    element: part.element,
    update(next) {
      row = next;
      show(out, !row.out_of_service_until);
      show(back, Boolean(row.out_of_service_until));
      for (const b of [out, back]) b.setAttribute("aria-label", `${b.textContent} (${row.id})`);
    },
    tick(now) {
      const alarms = store.all("alarms").filter((a) => a.subject === row.id && a.state !== "returned");
      const state = conditionOf(row, alarms, now);
      part.draw({
        id: row.id, ...state, reading: readingOf(store, row, now),
        details: [
          Date.parse(row.since) > 0 && since(row.since, now), row.detail,
          row.check_due_at && `humidity checked ${dayOf(row.checked_at)}, next due ${dayOf(row.check_due_at)}`,
          alarms.every((a) => a.text !== row.check_failed) && row.check_failed, // the alarm says the same
          ...alarms.map((a) => `${a.name.replaceAll("-", " ")}: ${a.text}`),
        ],
      });
    },
  };
}

// readingOf is an instrument's last reading with its age: a scale's weight, or the air of the
// zone that it was last read for.
function readingOf(store, row, now) {
  const scale = store.get("scales", row.id);
  const old = (at) => `read ${age(-secondsUntil(Date.parse(at), now))}`;
  if (scale) {
    const weight = scale.weight_g === undefined ? "no weight" : `${grams(scale.weight_g, decimalsOf(scale.division_g))}, ${scale.stable ? "settled" : "moving"}`;
    const quality = scale.quality === "good" ? "" : `; ${[scale.quality, scale.why].filter(Boolean).join(": ")}`;
    return `${weight}, ${scale.time ? old(scale.time) : "never heard"}${quality}`;
  }
  const air = store.all("air").find((a) => a.sensor === row.id && a.temperature_c !== undefined);
  return air ? `${celsius(air.temperature_c)}, ${percent(air.humidity_pct, 1)} RH, ${old(air.time)}` : "";
}

function outDialog(row, { store }) {
  ask({
    title: `Take ${row.id} out of service?`,
    lead: "While it is under maintenance its alarms are silent. What hangs on its readings is told so.",
    body: [h("div", { class: "pair" },
      field({ label: "For", unit: "hours", name: "hours", type: "number", min: 0.1, max: 720, step: "any", value: 1, required: true, inputmode: "decimal" }),
      field({ label: "Reason", name: "reason", type: "text", required: true, maxlength: 200, hint: "such as: salt test" }))],
    submitLabel: "Take it out",
    async submit(data) {
      const until = new Date(store.clock.now() + figure(data, "hours") * 3600e3).toISOString();
      const { answer } = await change(`sensors/${row.id}/out-of-service`, { until, reason: String(data.get("reason")).trim() });
      if (answer.id) store.put("sensors", answer);
    },
  });
}

export function zonesPanel(element, { store }) {
  const { list, none } = listPanel(element, "Air by zone", "No air has been measured yet.");
  return {
    update(now) {
      const rows = store.all("air").sort((a, b) => a.zone.localeCompare(b.zone));
      show(none, rows.length === 0 && store.loaded.has("air"));
      keyed(list, rows, (row) => row.zone, () => {
        const part = line(null);
        let row;
        return {
          element: part.element,
          update: (next) => (row = next),
          tick(at) {
            const known = row.temperature_c !== undefined;
            part.draw({
              id: row.zone, ...zoneState(row),
              reading: known ? `${celsius(row.temperature_c)}, ${percent(row.humidity_pct, 1)} RH, dew point ${celsius(row.dew_point_c)}` : "never read",
              details: [known && `read ${age(-secondsUntil(Date.parse(row.time), at))}${row.sensor ? ` by ${row.sensor}` : ""}`],
            });
          },
        };
      });
      for (const part of list.keyedParts?.values() ?? []) part.tick(now);
    },
  };
}

export function restsOnPanel(element, { store }) {
  const { list, none } = listPanel(element, "What the bench rests on", "");
  show(none, false);
  const time = h("p", { class: "quiet" });
  element.append(time);
  return {
    update(now, checks) {
      keyed(list, restsOn(store, checks), (row) => row.id, () => {
        const part = line(null);
        return { element: part.element, update: (row) => part.draw(row) };
      });
      show(time, store.clock.known);
      setText(time, `The bench’s time is ${clockTime(now, now)}.`);
    },
  };
}

// verdictPanel answers the page's question, and names what stands against it.
export function verdictPanel(element, { store }) {
  const shape = h("span", { class: "device-sign" });
  const words = h("h2", { class: "verdict-words", "aria-live": "polite" });
  const list = h("ul", { class: "verdict-list" });
  element.append(h("div", { class: "verdict" }, shape, words), list);
  let drawn = "";
  return {
    update(now, contact, checks) {
      const { stands, words: say, against } = judge(store, now, contact, checks);
      if (drawn !== stands) shape.replaceChildren(sign(looks[(drawn = stands)]));
      element.dataset.stands = stands;
      setText(words, say);
      keyed(list, against, (text) => text, (text) => ({ element: h("li", { text }), update() {} }));
    },
  };
}

// judge says whether the numbers can be trusted, from all that is shown below it.
export function judge(store, now, contact, checks) {
  if (!contact) return { stands: "unknown", words: "Not known: no contact with the bench", against: [] };
  const things = [
    ...store.all("sensors").map((row) => ({ id: row.id, ...conditionOf(row, store.all("alarms").filter((a) => a.subject === row.id && a.state !== "returned"), now) })),
    ...store.all("scales").filter((row) => row.quality !== "good").map((row) => ({ id: row.id, stands: airStands[row.quality] ?? "unknown", words: row.why || row.quality })),
    ...store.all("air").map((row) => ({ id: `air of ${row.zone}`, ...zoneState(row) })),
    ...restsOn(store, checks),
  ];
  const against = things.filter((t) => t.stands !== "fine" && !(t.id === "Broker" && t.stands === "out"));
  const list = against.map((t) => `${t.id}: ${t.words}`);
  if (store.all("sensors").length === 0) return { stands: "unknown", words: "Not known: no instrument has been heard of", against: list };
  if (against.some((t) => t.stands === "bad")) return { stands: "bad", words: "Not all of the numbers can be trusted", against: list };
  if (against.length > 0) return { stands: "doubt", words: "The numbers can be trusted, with care", against: list };
  return { stands: "fine", words: "The numbers can be trusted", against: list };
}
