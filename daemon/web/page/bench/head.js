// The head of a mix: what is mixed and for which press, and how far it has come.
import { h, keyed, setText, setWords } from "../lib/dom.js";
import { clockTime, duration, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";
import { shortName, stepsOf } from "./steps.js";

// mixHead makes it.
export function mixHead() {
  const title = h("p", { class: "mix-title" });
  const steps = h("ol", { class: "steps", "aria-label": say("stage.steps") });
  return {
    element: h("div", { class: "mix-top" }, title, steps),
    /**
     * @param {API.BatchView} batch
     * @param {API.InkView | undefined} ink
     * @param {number} now
     * @param {boolean} mending whether the step that is marked is corrected now
     */
    draw(batch, ink, now, mending) {
      drawTitle(title, batch, now);
      drawSteps(steps, batch, ink, mending);
    },
  };
}

/**
 * @param {HTMLElement} element
 * @param {API.BatchView} batch
 * @param {number} now
 */
function drawTitle(element, batch, now) {
  const parts = [say("stage.mix", { mix: batch.id }), batch.ink, batch.for_press ? say("stage.for-press", { press: batch.for_press }) : batch.cup];
  if (batch.mixed_at) {
    const at = Date.parse(batch.mixed_at);
    parts.push(say("stage.reacting", { time: clockTime(at, now), age: duration(-secondsUntil(at, now)) }));
  }
  if (batch.on_disk === false) parts.push(say("stage.not-on-disk"));
  setWords(element, parts.join(" · "));
}

/**
 * @param {HTMLElement} list
 * @param {API.BatchView} batch
 * @param {API.InkView | undefined} ink
 * @param {boolean} mending
 */
function drawSteps(list, batch, ink, mending) {
  const steps = stepsOf(batch, ink);
  const here = steps.indexOf(batch.step ?? "");
  const rows = steps.map((step, i) => ({
    step, stands: i < here ? "done" : i === here ? "now" : "ahead", name: mending && i === here ? say("steps.correction") : shortName(step),
  }));
  keyed(list, rows, (row) => row.step, () => {
    const state = h("span", { class: "unseen" });
    const name = h("span");
    const element = h("li", {}, h("span", { class: "step-mark", "aria-hidden": "true" }), name, state);
    return {
      element,
      update(row) {
        element.dataset.stands = row.stands;
        if (row.stands === "now") element.setAttribute("aria-current", "step");
        else element.removeAttribute("aria-current");
        setText(name, row.name);
        setText(state, row.stands === "done" ? say("stage.step-done") : "");
      },
    };
  });
}

