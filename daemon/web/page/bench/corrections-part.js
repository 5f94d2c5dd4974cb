// The ways to correct a pour, of which one is enough; they are choices where they begin with different parts.
import { h, setText, show } from "../lib/dom.js";
import { say } from "../lib/words.js";
import { pourState } from "./bar.js";
import { correctionWords, firstPart } from "./corrections.js";

// correctionsPart makes that part.
export function correctionsPart() {
  const legend = h("legend");
  const list = h("div", { class: "correction-list" });
  const element = h("fieldset", { class: "corrections", "aria-live": "polite" },
    legend, list);
  let drawn = "";
  /** @type {API.Correction[]} */
  let rows = [];
  return {
    element,
    // chosenPart returns the part that is being poured where it is another than the first correction's.
    chosenPart() {
      const input = list.querySelector("input:checked");
      const [first] = rows;
      const chosen = input instanceof HTMLInputElement ? rows[Number(input.value)] : first;
      const part = chosen && firstPart(chosen);
      return part && first && part !== firstPart(first) ? part : undefined;
    },
    /**
     * @param {API.BatchView} batch
     * @param {API.PouringView | undefined} pour what is poured, when the bar shows it
     */
    update(batch, pour) {
      // Once enough is poured, the bar gives the verdict. Once it is too much, another cure is needed than this one,
      // which is of before the pour; the bar and the cures below it tell that.
      const state = pour && pourState(pour);
      const enough = state === "at";
      rows = batch.corrections ?? [];
      const several = rows.length > 1;
      setText(legend, enough ? say(several ? "stage.corrections-enough-several" : "stage.corrections-enough") : say(several ? "stage.corrections-several" : "stage.corrections"));
      show(element, rows.length > 0 && state !== "over");
      const key = JSON.stringify(rows);
      if (key === drawn) return;
      drawn = key;
      const choose = new Set(rows.map(firstPart)).size > 1;
      list.replaceChildren(...rows.map((c, i) => {
        const words = correctionWords(c);
        // Each is enough by itself: nobody may add them all.
        const or = i > 0 && h("span", { class: "correction-or", text: say("correction.or") });
        const body = [h("span", { class: "correction-add" }, or, or && " ", h("strong", { text: words.add })), h("span", { text: words.aim }), h("small", { text: words.total })];
        if (!choose) return h("div", { class: "correction" }, body);
        return h("label", { class: "correction choice" }, h("input", { type: "radio", name: "correction", value: i, checked: i === 0 }), body);
      }));
    },
  };
}
