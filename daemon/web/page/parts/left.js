// The rest of a batch, weighed on the scale or typed.
import { figure, fieldOf, massField, massInput } from "../lib/dialogs.js";
import { h, setText, show } from "../lib/dom.js";
import { decimalsOf, grams } from "../lib/format.js";
import { say } from "../lib/words.js";

const drawMs = 200;

/**
 * leftPart asks for it. body returns the fields of a close that tell it.
 * @param {API.BatchView} batch
 * @param {import("../lib/store.js").Store} store
 * @returns {{ element: HTMLElement, body: (data: FormData) => Partial<API.CloseBatch> }}
 */
export function leftPart(batch, store) {
  const scales = store.all("scales").sort((a, b) => a.id.localeCompare(b.id));
  const scale = scales.find((s) => s.id === batch.scale) ?? (scales.length === 1 ? scales[0] : undefined);
  const said = massField({ label: say("left.over"), name: "left_g", hint: say("left.optional") });
  const caution = h("p", { class: "quiet", text: say("left.caution") });
  if (!scale) return { element: h("div", {}, said, caution), body: (data) => saidOnly(data) };

  const weigh = h("input", { type: "checkbox", name: "weigh" });
  const live = h("p", { role: "status", class: "left-live" });
  const input = h("input", { name: "empty_g", ...massInput });
  const empty = fieldOf(input, say("left.empty-weighs", { cup: batch.cup }), "g", say("left.unknown"));
  const element = h("fieldset", { class: "chips left" },
    h("legend", { text: say("left.what") }),
    h("div", { class: "chip-row" }, h("label", { class: "chip" }, weigh, h("span", { class: "chip-body" }, h("span", { text: say("left.weigh") }), h("small", { text: say("left.weigh-on", { scale: scale.id }) })))),
    live, empty, said, caution);
  const draw = () => {
    show(live, weigh.checked);
    show(empty, weigh.checked && batch.cup_empty_g === undefined);
    input.required = weigh.checked && batch.cup_empty_g === undefined;
    show(said, !weigh.checked);
    if (weigh.checked) setText(live, words(store.get("scales", scale.id), batch.cup_empty_g ?? (Number(input.value) || undefined)));
  };
  element.addEventListener("input", draw);
  draw();
  const timer = setInterval(() => (element.isConnected ? draw() : clearInterval(timer)), drawMs);
  return {
    element,
    body(data) {
      if (!weigh.checked) return saidOnly(data);
      const own = batch.cup_empty_g === undefined ? figure(data, "empty_g") : undefined;
      return { weigh: true, scale: scale.id, ...(own !== undefined && { empty_g: own }) };
    },
  };
}

/** @param {FormData} data */
function saidOnly(data) {
  const left = figure(data, "left_g");
  return left === undefined ? {} : { left_g: left };
}

/**
 * words writes what the scale shows and what is left by that; the weight is read when the batch is
 * closed.
 * @param {API.ScaleView | undefined} row
 * @param {number | undefined} empty
 */
function words(row, empty) {
  if (row?.weight_g === undefined) return say("left.no-weight");
  if (row.batch) return say("left.busy", { batch: row.batch, scale: row.id });
  const decimals = decimalsOf(row.division_g);
  const shown = { scale: row.id, weight: grams(row.weight_g, decimals) };
  const gross = row.stable ? say("left.settled", shown) : say("left.moving", shown);
  if (empty === undefined) return `${gross}.`;
  const left = row.weight_g - empty;
  if (left < -2 * row.division_g) return say("left.too-light", { gross, empty: grams(empty, decimals) });
  return say("left.result", { gross, empty: grams(empty, decimals), left: grams(Math.max(left, 0), decimals) });
}
