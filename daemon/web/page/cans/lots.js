// The batches that a lot or a can is in, with their presses, times and prints.
import { get, Refused } from "../lib/api.js";
import { dayTime } from "../lib/dates.js";
import { button, h, setText, show } from "../lib/dom.js";
import { grams } from "../lib/format.js";
import { say } from "../lib/words.js";
import { outcome, stays } from "../parts/history.js";

/**
 * lotsPanel searches for them.
 * @param {HTMLElement} element
 * @param {Pick<Page.Tools, "store">} tools
 */
export function lotsPanel(element, { store }) {
  const input = h("input", { type: "search", name: "lot", maxlength: 60, autocomplete: "off", list: "known-lots" });
  const known = h("datalist", { id: "known-lots" });
  const form = h("form", { class: "lot-form" }, h("label", { class: "field" }, h("span", { text: say("trace.lot") }), h("span", { class: "field-line" }, input)),
    h("button", { type: "submit", class: "big", text: say("trace.find") }), known);
  const said = h("p", { class: "quiet", role: "status", text: say("trace.how", { button: say("cans.trace"), more: say("use.more") }) });
  const list = h("ul", { class: "traced" });
  const more = button(say("closed.further"), "big", () => load());
  show(more, false);
  element.append(h("h2", { text: say("trace.title") }), form, said, list, more);
  /** @type {{ path: string, name: string, next: number, can?: string, lot?: string }} */
  let asked = { path: "", name: "", next: 0 };
  const seen = new Set();

  async function load() {
    try {
      /** @type {API.TracedList} */
      const page = await get(`${asked.path}?limit=20&before=${asked.next}`);
      for (const b of page.batches ?? []) {
        if (seen.has(b.seq)) continue;
        seen.add(b.seq);
        list.append(tracedRow(b, asked));
      }
      asked.next = page.next;
      show(more, page.next > 0);
      const n = seen.size;
      setText(said, n === 0 ? say("trace.none", { what: asked.name }) : page.next > 0 ? say("trace.some", { n, what: asked.name }) : say("trace.all", { n, what: asked.name }));
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      setText(said, error.message);
      show(more, false);
    }
  }

  /** @param {{ can?: string, lot?: string }} what */
  function find({ can, lot }) {
    asked = { path: can ? `cans/${encodeURIComponent(can)}/batches` : `lots/${encodeURIComponent(lot ?? "")}/batches`, name: can ? say("trace.can", { can }) : say("trace.the-lot", { lot: lot ?? "" }), can, lot, next: 0 };
    seen.clear();
    list.replaceChildren();
    element.scrollIntoView({ block: "start" });
    element.focus({ preventScroll: true });
    return load();
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const lot = input.value.trim();
    if (lot) find({ lot });
  });
  input.addEventListener("focus", () => {
    const lots = [...new Set(store.all("cans").flatMap((c) => c.lot || []))].sort();
    known.replaceChildren(...lots.map((value) => h("option", { value })));
  });
  const wanted = new URLSearchParams(location.search).get("lot");
  if (wanted) {
    input.value = wanted;
    find({ lot: wanted });
  }
  return { find };
}

/**
 * tracedRow makes the row of a batch: how much of the lot is in it, when it was mixed and ended,
 * where it printed.
 * @param {API.Past} b
 * @param {{ can?: string, lot?: string }} asked
 */
function tracedRow(b, { can, lot }) {
  const cans = (b.lots ?? []).filter((l) => (can ? l.can === can : l.lot?.toLowerCase() === lot?.toLowerCase())).map((l) => l.can);
  const amount = (b.components ?? []).filter((c) => c.can !== undefined && cans.includes(c.can)).reduce((sum, c) => sum + c.g, 0);
  const times = [
    b.mixed_at ? say("trace.mixed", { at: dayTime(b.mixed_at) }) : say("trace.no-hardener"),
    b.closed_at ? say("trace.ended", { at: dayTime(b.closed_at), outcome: outcome(b.outcome) }) : say("trace.open"),
  ];
  return h("li", { class: "traced-batch" },
    h("a", { class: "traced-link", href: `/batches/${encodeURIComponent(b.id)}?seq=${b.seq}` }, h("span", {}, h("strong", { text: b.id }), ` ${b.ink}`)),
    h("p", { text: say("trace.amount", { mass: grams(amount), cans: [...new Set(cans)].join(" + ") }) + (b.via ? say("trace.via", { batch: b.via }) : "") }),
    h("p", { class: "quiet", text: times.join("; ") }),
    stays(b));
}
