// The rest of a batch: weighed on the scale, typed, or not weighed.
import { chips, figure, fieldOf, massField, massInput, setChosen } from "../lib/dialogs.js";
import { h, setText, show } from "../lib/dom.js";
import { decimalsOf, grams } from "../lib/format.js";
import { say } from "../lib/words.js";

const drawMs = 200;

/**
 * leftPart asks for it. body returns the fields of a close that tell it. What is scrapped is weighed unless
 * somebody says otherwise: wanted says so, also later, as long as nobody has chosen.
 * @param {API.BatchView} batch
 * @param {import("../lib/store.js").Store} store
 * @returns {{ element: HTMLElement, wanted: (scrapped: boolean) => void, body: (data: FormData) => Partial<API.CloseBatch> }}
 */
export function leftPart(batch, store) {
  const scales = store.all("scales").sort((a, b) => a.id.localeCompare(b.id));
  const scale = scales.find((s) => s.id === batch.scale) ?? (scales.length === 1 ? scales[0] : undefined);
  const now = () => (scale ? store.get("scales", scale.id) : undefined);
  const how = chips({
    legend: say("left.what"), name: "left", chosen: "none",
    options: [
      ...(scale ? [{ value: "weigh", label: say("left.weigh"), note: say("left.weigh-on", { scale: scale.id }) }] : []),
      { value: "said", label: say("left.said") }, { value: "none", label: say("left.none") },
    ],
  });
  const said = massField({ label: say("left.over"), name: "left_g", required: true });
  const live = h("p", { role: "status", class: "left-live" });
  const input = h("input", { name: "empty_g", ...massInput });
  const empty = fieldOf(input, say("left.empty-weighs", { cup: batch.cup }), "g", say("left.unknown"));
  const element = h("div", { class: "left" }, how, live, empty, said, h("p", { class: "quiet", text: say("left.caution") }));
  const chosen = () => /** @type {HTMLInputElement | null} */ (how.querySelector("input:checked"))?.value;
  let touched = false;
  const draw = () => {
    const weigh = chosen() === "weigh";
    show(live, weigh);
    show(empty, weigh && batch.cup_empty_g === undefined);
    input.required = weigh && batch.cup_empty_g === undefined;
    show(said, chosen() === "said");
    if (weigh) setText(live, words(now(), batch, Number(input.value) || undefined));
  };
  how.addEventListener("change", () => (touched = true));
  element.addEventListener("input", draw);
  draw();
  const timer = setInterval(() => (element.isConnected ? draw() : clearInterval(timer)), drawMs);
  return {
    element,
    wanted(scrapped) {
      if (touched) return;
      const row = now();
      setChosen(how, !scrapped ? "none" : row?.weight_g !== undefined && !row.batch ? "weigh" : "said");
      draw();
    },
    body(data) {
      if (data.get("left") === "said") return { left_g: figure(data, "left_g") };
      if (data.get("left") !== "weigh" || !scale) return {};
      const own = batch.cup_empty_g === undefined ? figure(data, "empty_g") : undefined;
      return { weigh: true, scale: scale.id, ...(own !== undefined && { empty_g: own }) };
    },
  };
}

/**
 * words writes what the scale shows and what is left by that; the weight is read when the batch is
 * closed.
 * @param {API.ScaleView | undefined} row
 * @param {API.BatchView} batch
 * @param {number | undefined} typed what the empty cup weighs, where the bench does not know it
 */
function words(row, batch, typed) {
  const empty = batch.cup_empty_g ?? typed;
  if (row?.weight_g === undefined) return say("left.no-weight");
  if (row.batch) return say("left.busy", { batch: row.batch, scale: row.id });
  const decimals = decimalsOf(row.division_g);
  if (Math.abs(row.weight_g) <= 2 * row.division_g) return say("left.put-on", { batch: batch.id, scale: row.id });
  const shown = { scale: row.id, weight: grams(row.weight_g, decimals) };
  const gross = row.stable ? say("left.settled", shown) : say("left.moving", shown);
  if (empty === undefined) return `${gross}.`;
  const left = row.weight_g - empty;
  if (left < -2 * row.division_g) return say("left.too-light", { gross, empty: grams(empty, decimals) });
  return say("left.result", { gross, empty: grams(empty, decimals), left: grams(Math.max(left, 0), decimals) });
}
