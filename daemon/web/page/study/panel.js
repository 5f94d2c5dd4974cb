// The question, the answer in words, and below it the pictures and figures that it rests on.
import { get, Refused } from "../lib/api.js";
import { day } from "../lib/dates.js";
import { button, h, setText, show } from "../lib/dom.js";
import { refusalLine, showRefusal } from "../lib/refusal.js";
import { picture } from "../lib/picture.js";
import { locale, say } from "../lib/words.js";
import { perThousand } from "./rate.js";
import { address, chartDays, dayAfter, recorded } from "./span.js";

const whole = "all"; // the id of all kinds together

/** The conditions in the order in which they are offered. */
const factors = /** @type {const} */ ([
  ["vapour_density_g_m3", "condition.vapour-density-g-m3"], ["humidity_pct", "condition.humidity-pct"], ["temperature_c", locale.fahrenheit ? "condition.temperature-f" : "condition.temperature-c"],
  ["spent", "condition.spent"], ["thinner_pct", "condition.thinner-pct"], ["ratio_error_pct", "condition.ratio-error-pct"],
]);

// studyPanel makes the parts. load asks for the answer, offer fills in presses and kinds.
export function studyPanel() {
  const inputs = {
    from: h("input", { type: "date", name: "from" }),
    to: h("input", { type: "date", name: "to" }),
    press: h("select", { name: "press" }),
    kind: h("select", { name: "kind" }),
    factor: h("select", { name: "factor" }, factors.map(([value, key]) => h("option", { value, text: say(key) }))),
  };
  const field = (/** @type {keyof typeof inputs} */ name) => h("label", { class: "field" }, h("span", { text: say(`analysis.${name}`) }), inputs[name]);
  const form = h("form", { class: "study-form" }, field("from"), field("to"), field("press"), field("kind"), field("factor"));
  const headline = h("p", { class: "study-headline", role: "status", text: say("analysis.computing") });
  const studied = h("p", { class: "study-asked" }); // on paper, in place of the fields
  const sentences = h("ul", { class: "study-sentences" });
  const refusal = refusalLine();
  const curve = picture();
  const effects = h("div", { class: "study-table" });
  const totals = h("div", { class: "study-table" });
  const charts = h("div", { class: "study-charts" });
  const air = picture(0.6, 320);
  const kept = picture(0.6);
  const report = h("a", { class: "big-link", href: "/report", text: say("analysis.report") });
  let asking = 0;
  /** @type {API.StudyAnswer | undefined} */
  let told; // the newest answer
  let presses = /** @type {string[]} */ ([]);

  const names = /** @type {(keyof typeof inputs)[]} */ (Object.keys(inputs));
  const fields = () => Object.fromEntries(names.map((name) => [name, inputs[name].value]));
  const wanted = new URLSearchParams(location.search);
  fill(inputs.press, [["", say("analysis.all-presses")], ...named(wanted.get("press"))]);
  fill(inputs.kind, [["", say("analysis.all-kinds")], ...named(wanted.get("kind"))]);
  for (const name of names) choose(inputs[name], wanted.get(name));

  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("change", () => {
    history.replaceState(null, "", `/study${address(fields(), factors[0][0])}`);
    return load();
  });

  function span() {
    const q = new URLSearchParams();
    if (inputs.from.value) q.set("from", inputs.from.value);
    if (inputs.to.value) q.set("to", dayAfter(inputs.to.value));
    return q;
  }

  // load resolves to whether there was an answer.
  async function load() {
    const turn = ++asking;
    const asked = span();
    const whole = new URLSearchParams(asked);
    if (inputs.press.value) asked.set("press", inputs.press.value);
    const of = inputs.kind.value;
    const shown = new URLSearchParams(asked);
    shown.set("factor", inputs.factor.value);
    if (of) shown.set("of", of);
    report.href = `/report?${whole}`;
    setText(headline, say("analysis.computing"));
    curve.load(`pictures/curve?${shown}`);
    kept.load("pictures/kept");
    const chosen = inputs.from.value !== "" || inputs.to.value !== "";
    if (chosen) {
      told = undefined;
      drawTimes(whole, of);
    }
    try {
      /** @type {API.StudyAnswer} */
      const a = await get(`study?${asked}`);
      if (turn !== asking) return true;
      show(refusal, false);
      setText(headline, a.headline);
      const words = (/** @type {HTMLSelectElement} */ select) => select.selectedOptions[0]?.text ?? "";
      setText(studied, a.from && a.to ? say("analysis.asked", { from: day(a.from), to: day(a.to), press: words(inputs.press) || say("analysis.all-presses") }) : "");
      sentences.replaceChildren(...(a.sentences ?? []).map((text) => h("li", { words: text })));
      effects.replaceChildren(...(a.prints > 0 ? [effectsTable(a)] : []));
      told = a;
      if (!chosen) drawTimes(whole, of);
      totals.replaceChildren(totalsTable(a, kindName));
      return true;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (turn !== asking) return true;
      setText(headline, "");
      showRefusal(refusal, error);
      return error.status !== 0;
    }
  }

  /**
   * drawTimes draws what has an axis of time.
   * @param {URLSearchParams} asked
   * @param {string} kind
   */
  function drawTimes(asked, kind) {
    air.load(`pictures/air?${recorded(asked, told, 0)}`);
    drawCharts(asked, kind);
  }

  /**
   * @param {URLSearchParams} asked
   * @param {string} kind
   */
  function drawCharts(asked, kind) {
    const wanted = presses.filter((id) => !inputs.press.value || id === inputs.press.value);
    const made = wanted.map((id) => {
      const q = recorded(asked, told, chartDays);
      q.set("press", id);
      if (kind) q.set("kind", kind);
      const chart = picture(0.6, 580);
      chart.load(`pictures/control?${q}`);
      return chart.element;
    });
    charts.replaceChildren(...made);
  }

  /** @type {Map<string, string>} */
  const kindNames = new Map([[whole, say("analysis.all-kinds")]]);
  const kindName = (/** @type {string} */ kind) => kindNames.get(kind) ?? kind;

  /** @param {API.PressView[]} rows */
  function offer(rows) {
    for (const d of rows[0]?.defects ?? []) kindNames.set(d.kind, d.words);
    if (told) totals.replaceChildren(totalsTable(told, kindName));
    const ids = rows.map((row) => row.id).sort();
    if (ids.join() === presses.join()) return;
    presses = ids;
    fill(inputs.press, [["", say("analysis.all-presses")], ...ids.map((id) => /** @type {[string, string]} */ ([id, id]))]);
    const kinds = rows[0]?.defects ?? [];
    fill(inputs.kind, [["", say("analysis.all-kinds")], ...kinds.map((d) => /** @type {[string, string]} */ ([d.kind, d.words]))]);
    if (told || inputs.from.value || inputs.to.value) drawCharts(span(), inputs.kind.value);
  }

  const part = (/** @type {string} */ title, /** @type {Page.Child[]} */ ...body) => h("section", { class: "study-part" }, h("h2", { text: title }), ...body);
  return {
    parts: [
      h("h2", { text: say("analysis.question") }), form, studied, headline, refusal, sentences, curve.element,
      part(say("analysis.effects"), effects, h("p", { class: "study-note", text: say("analysis.figures-note") })), part(say("analysis.totals"), totals), part(say("analysis.control"), h("p", { class: "study-note", text: say("analysis.recent", { days: chartDays }) }), charts),
      part(say("analysis.air"), air.element), part(say("analysis.kept"), kept.element),
      h("div", { class: "actions" }, report, button(say("analysis.print"), "big prints", () => window.print())),
    ],
    load,
    offer,
  };
}

/**
 * @param {HTMLSelectElement} select
 * @param {[string, string][]} options
 */
function fill(select, options) {
  const chosen = select.value;
  select.replaceChildren(...options.map(([value, text]) => h("option", { value, text })));
  if (options.some(([value]) => value === chosen)) select.value = chosen;
}

/**
 * named returns the option of an id whose words are not known yet.
 * @param {string | null} id
 * @returns {[string, string][]}
 */
const named = (id) => (id ? [[id, id]] : []);

/**
 * choose fills a field with a value; one that the field cannot have changes nothing.
 * @param {HTMLInputElement | HTMLSelectElement} input
 * @param {string | null} value
 */
function choose(input, value) {
  if (value && (!(input instanceof HTMLSelectElement) || [...input.options].some((o) => o.value === value))) input.value = value;
}

/**
 * conditionName returns the name of a condition.
 * @param {string} factor
 */
function conditionName(factor) {
  const known = factors.find(([value]) => value === factor);
  return known ? say(known[1]) : factor;
}

/** @param {API.StudyAnswer} a */
function effectsTable(a) {
  // Of the many pairs of a condition and a kind, those that were found, and all kinds together.
  const rows = (a.effects ?? []).filter((e) => e.words && (e.found || e.kind === whole || (a.effects ?? []).every((other) => other.kind === e.kind)));
  return h(
    "table", {},
    h("thead", {}, h("tr", {}, [say("analysis.condition"), say("analysis.effect"), say("analysis.figures"), say("analysis.sure")].map((text) => h("th", { scope: "col", text })))),
    h("tbody", {}, rows.map((e) => h("tr", { class: e.firm ? "study-found" : "" }, h("td", { text: conditionName(e.factor) }), h("td", { words: e.words }), h("td", { class: "study-figures", text: e.figures }), h("td", { text: e.sure })))),
  );
}

/**
 * @param {API.StudyAnswer} a
 * @param {(kind: string) => string} name
 */
function totalsTable(a, name) {
  return h(
    "table", {},
    h("thead", {}, h("tr", {}, [say("analysis.kind"), say("analysis.rejects"), say("analysis.rate")].map((text) => h("th", { scope: "col", text })))),
    h("tbody", {}, (a.totals ?? []).map((t) => h("tr", {}, h("td", { text: name(t.kind) }), h("td", { text: String(t.defects) }), h("td", { text: say("analysis.rate-between", { rate: perThousand(t.rate), low: perThousand(t.rate_low), high: perThousand(t.rate_high) }) })))),
  );
}
