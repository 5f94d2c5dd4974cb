// A test of an ink in jars: it is planned and started, each jar is looked at, and it is ended.
import { changeRow } from "../lib/api.js";
import { ask, chips, field, figure, temperature, temperatureField, textOf } from "../lib/dialogs.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { clockTime, degrees, number, percent } from "../lib/format.js";
import { refusalLine } from "../lib/refusal.js";
import { say } from "../lib/words.js";
import { saltNames, steps } from "./checks.js";

const drySalts = ["lithium-chloride", "magnesium-chloride"];
const humidSalts = ["sodium-chloride", "potassium-chloride"];
const minuteMs = 60_000;

/**
 * startDialog explains the test, asks where the jars stand, and starts it. What a person has to measure or to
 * choose is left open: a figure that nobody has measured would be fitted as if somebody had.
 * @param {string} ink
 * @param {Page.Tools} tools
 */
export function startDialog(ink, { store }) {
  const salts = (/** @type {string[]} */ ids) => ids.map((value) => ({ value, label: saltNames[value] }));
  const standing = (/** @type {string} */ label, /** @type {string} */ name, /** @type {number} */ planned) =>
    temperatureField({ label, name, min: 10, max: 40, required: true, hint: say("jars.planned", { temperature: degrees(planned, 0) }) });
  const air = store.all("air").find((row) => row.temperature_c !== undefined && row.humidity_pct !== undefined);
  ask({
    title: say("jars.title", { ink }),
    lead: say("jars.lead"),
    body: [
      steps([say("jars.step-1"), say("jars.step-2"), say("jars.step-3"), say("jars.step-4"), say("jars.step-5")]),
      h("p", { class: "care-now", text: say("jars.care") }), h("p", { class: "care-now", text: say("jars.care-salt") }),
      h("div", { class: "pair" }, standing(say("jars.cool"), "cool", 20), standing(say("jars.warm"), "warm", 35)),
      chips({ legend: say("jars.dry"), name: "dry", options: salts(drySalts) }),
      chips({ legend: say("jars.humid"), name: "humid", options: salts(humidSalts) }),
      h("div", { class: "pair" },
        temperatureField({ label: say("jars.bench-temperature"), name: "bench_c", min: -10, max: 60, value: air?.temperature_c }),
        field({ label: say("jars.bench-humidity"), unit: "%", name: "bench_pct", type: "number", min: 1, max: 99, step: "any", inputmode: "decimal", value: air?.humidity_pct, hint: say("jars.bench-hint") })),
      field({ label: say("jars.mixed"), unit: say("tests.minutes-ago"), name: "minutes", type: "number", min: 0, max: 1440, step: 1, inputmode: "numeric", required: true }),
      h("p", { text: say("jars.limits") }),
    ],
    submitLabel: say("jars.start"),
    submit(data) {
      const minutes = figure(data, "minutes") ?? 0; // 0 is the bench's own present: the page's may be a little later
      return changeRow(store, "inks", `inks/${ink}/start-jars`, {
        jars: jarsOf(data), ...(minutes > 0 && { mixed_at: new Date(store.clock.now() - minutes * minuteMs).toISOString() }),
      });
    },
  });
}

/**
 * jarsOf reads where the jars stand.
 * @param {FormData} data
 */
function jarsOf(data) {
  /** @type {{ temperature_c?: number, salt?: string, humidity_pct?: number, open?: boolean }[]} */
  const jars = ["cool", "warm"].flatMap((at) => ["dry", "humid"].map((salt) => ({ temperature_c: temperature(data, at), salt: textOf(data, salt) })));
  const [celsius, pct] = [temperature(data, "bench_c"), figure(data, "bench_pct")];
  if (celsius !== undefined && pct !== undefined) jars.push({ temperature_c: celsius, humidity_pct: pct, open: true });
  return jars;
}

/**
 * runningTest shows the jars of a running test, and takes what was seen of each.
 * @param {Page.Tools} tools
 */
export function runningTest(tools) {
  const lead = h("p");
  const gain = h("p");
  const list = h("ul", { class: "jars" });
  let ink = "";
  const end = button(say("jars.end"), "small", () => endDialog(ink, tools));
  const element = h("div", { class: "jar-test" }, lead, h("p", { class: "care-now", text: say("jars.care-look") }), gain, list, end);
  return {
    element,
    /** @param {API.InkView} row @param {number} now */
    update(row, now) {
      const test = row.jar_test;
      show(element, Boolean(test));
      if (!test) return;
      ink = row.id;
      end.setAttribute("aria-label", `${end.textContent} (${ink})`);
      setText(lead, say("jars.running", { at: clockTime(Date.parse(test.mixed_at), now) }));
      setText(gain, say("jars.expects", {
        before: number(test.before.activation_kj_mol, 1), after: number(test.after.activation_kj_mol, 1),
        share_before: number(test.before.moisture_share, 2), share_after: number(test.after.moisture_share, 2),
      }));
      for (const part of keyed(list, test.jars ?? [], (jar) => String(jar.jar), () => jarLine(tools, () => ink))) part.tick(now);
    },
  };
}

/**
 * jarLine is a jar with its looks.
 * @param {Page.Tools} tools
 * @param {() => string} inkOf
 */
function jarLine({ store, attempt }, inkOf) {
  const refusal = refusalLine();
  /** @type {API.Jar} */
  let jar;
  const saw = (/** @type {string} */ seen) => () => attempt(refusal, () => changeRow(store, "inks", `inks/${inkOf()}/look-at-jar`, { jar: jar.jar, seen }));
  const good = button(say("jars.good"), "small", saw("good"));
  const gone = button(say("jars.gone-off"), "small", () => (store.clock.now() < Date.parse(jar.look_from) ? early() : saw("gone-off")()));
  // A jar that ends before its first look is more often a slip of the finger than an end.
  const early = () => ask({
    title: say("jars.early-title", { jar: say("jars.jar", { n: jar.jar }) }),
    lead: say("jars.early-lead", { from: clockTime(Date.parse(jar.look_from), store.clock.now()) }),
    submitLabel: say("jars.early-yes"),
    submit: () => changeRow(store, "inks", `inks/${inkOf()}/look-at-jar`, { jar: jar.jar, seen: "gone-off" }),
  });
  const mistake = button(say("jars.mistake"), "small", saw("mistake"));
  const where = h("strong");
  const when = h("span");
  const seen = h("span");
  const element = h("li", { class: "jar" }, h("p", {}, where, " ", when, " ", seen), h("div", { class: "device-actions" }, good, gone, mistake, refusal));
  return {
    element,
    update(/** @type {API.Jar} */ next) {
      jar = next;
      const name = say("jars.jar", { n: jar.jar });
      for (const b of [good, gone, mistake]) b.setAttribute("aria-label", `${b.textContent} (${name})`);
      show(good, !jar.gone_off_at);
      show(gone, !jar.gone_off_at);
      show(mistake, Boolean(jar.gone_off_at || jar.last_good_at));
      const air = { jar: name, temperature: degrees(jar.temperature_c), humidity: percent(jar.humidity_pct) };
      setText(where, jar.open ? say("jars.at-bench", air) : jar.salt ? say("jars.over-salt", { ...air, salt: saltNames[jar.salt] ?? jar.salt }) : say("jars.in-air", air));
    },
    tick(/** @type {number} */ now) {
      const at = (/** @type {string} */ time) => clockTime(Date.parse(time), now);
      setText(when, jar.gone_off_at ? "" : say("jars.look", { from: at(jar.look_from), expected: at(jar.expected_at), until: at(jar.look_until) }));
      setText(seen, [jar.last_good_at && say("jars.last-good", { at: at(jar.last_good_at) }), jar.gone_off_at && say("jars.was-gone", { at: at(jar.gone_off_at) })].filter(Boolean).join(" "));
    },
  };
}

/**
 * endDialog asks whether what was seen counts.
 * @param {string} ink
 * @param {Page.Tools} tools
 */
function endDialog(ink, { store, notify }) {
  ask({
    title: say("jars.end-title", { ink }),
    lead: say("jars.end-lead"),
    body: [chips({
      legend: say("jars.counts"), name: "counts", chosen: "yes",
      options: [{ value: "yes", label: say("jars.counts-yes"), note: say("jars.counts-yes-note") }, { value: "no", label: say("jars.counts-no"), note: say("jars.counts-no-note") }],
    })],
    submitLabel: say("jars.end-it"),
    async submit(data) {
      const counts = textOf(data, "counts") === "yes";
      await changeRow(store, "inks", `inks/${ink}/end-jars`, counts ? {} : { discard: true });
      if (counts) notify(say("jars.ended", { ink }));
    },
  });
}
