// A step that the bench took by itself, with the button that takes it back while that can be done.
import { button, h, setText, show } from "../lib/dom.js";
import { grams } from "../lib/format.js";
import { say } from "../lib/words.js";

/**
 * benchTook makes it. undo takes the step back.
 * @param {(seq: number) => unknown} undo
 */
export function benchTook(undo) {
  const words = h("p");
  let seq = 0;
  const element = h("div", { class: "by-bench", hidden: true }, words, button(say("stage.by-bench-wrong"), "big", () => undo(seq)));
  return {
    element,
    /**
     * @param {API.BatchView} batch
     * @param {number} now
     */
    update(batch, now) {
      const took = batch.confirmed_by_bench;
      const fresh = took !== undefined && took !== null && Date.parse(took.until) > now;
      show(element, fresh);
      if (!fresh) return;
      seq = took.seq;
      setText(words, took.step === "cup" ? say("stage.by-bench-cup", { mass: grams(batch.cup_empty_g) }) : say("stage.by-bench-stir"));
    },
  };
}
