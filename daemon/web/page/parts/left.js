// The rest of a batch, weighed on the scale or typed.
import { figure, fieldOf, massField, massInput } from "../lib/dialogs.js";
import { h, setText, show } from "../lib/dom.js";
import { decimalsOf, grams } from "../lib/format.js";

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
  const said = massField({ label: "Left over", name: "left_g", hint: "may stay empty" });
  if (!scale) return { element: h("div", {}, said), body: (data) => saidOnly(data) };

  const weigh = h("input", { type: "checkbox", name: "weigh" });
  const live = h("p", { role: "status", class: "left-live" });
  const input = h("input", { name: "empty_g", ...massInput });
  const empty = fieldOf(input, `The empty ${batch.cup} weighs`, "g", "the bench does not know it");
  const element = h("fieldset", { class: "chips left" },
    h("legend", { text: "What is left?" }),
    h("div", { class: "chip-row" }, h("label", { class: "chip" }, weigh, h("span", { class: "chip-body" }, h("span", { text: `Weigh it on ${scale.id}` }), h("small", { text: "the cup and all" })))),
    live, empty, said,
    h("p", { class: "quiet", text: "Mix with hardener in it may give off gas: leave the lid loose, and dispose of it as local rules say." }));
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
  if (row?.weight_g === undefined) return "The scale shows no weight.";
  if (row.batch) return `Mix ${row.batch} is being weighed on ${row.id}: weigh this one when that is done.`;
  const decimals = decimalsOf(row.division_g);
  const gross = `${row.id} shows ${grams(row.weight_g, decimals)}, ${row.stable ? "settled" : "moving"}`;
  if (empty === undefined) return `${gross}.`;
  const left = row.weight_g - empty;
  if (left < -2 * row.division_g) return `${gross}; an empty cup weighs ${grams(empty, decimals)}. Empty the pan, zero the scale, then put the cup on it.`;
  return `${gross}; less the cup, ${grams(empty, decimals)}: ${grams(Math.max(left, 0), decimals)} left.`;
}
