// The bench's part of the page: the scale, the mix that is weighed on it, the mixes that wait for
// their press, and the form for the next.
import { keepAwake } from "../lib/awake.js";
import { latest, remember } from "../lib/choices.js";
import { button, h, keyed, setText, show } from "../lib/dom.js";
import { decimalsOf } from "../lib/format.js";
import { say } from "../lib/words.js";
import { mixPanel } from "./mix.js";
import { awaitsPress, readyCard } from "./ready.js";
import { scalePanel } from "./scale.js";
import { startPanel } from "./start.js";
import { cupQuestion, waitingRow } from "./waiting.js";
import { airUnknown, neverHeard, waitsFor, welcomePanel } from "./welcome.js";

const stirs = ["stir-hardener", "stir-thinner"];

/**
 * benchPanel makes it. tone sounds a tone by its name.
 * @param {HTMLElement} element
 * @param {Page.Tools & { tone: (name: string) => void }} tools
 */
export function benchPanel(element, tools) {
  const { store, attempt, tone } = tools;
  let chosen = latest("scale");
  const picker = scalePicker((id) => {
    remember("scale", (chosen = id));
    draw();
  });
  const scale = scalePanel();
  const welcome = welcomePanel();
  const mixing = h("div");
  const ready = h("div");
  const question = cupQuestion({ store, attempt });
  const waiting = waitingRow({
    ...tools,
    back() {
      wanted = false;
      draw();
    },
  });
  const start = startPanel({ store, attempt, scale: () => chosen });
  const another = button(say("bench.start-next"), "big another", () => {
    wanted = true;
    draw();
    start.focus();
  });
  let wanted = false; // the form was asked for although a mix still waits for its press
  let draw = () => {}; // draws the panel again as of now
  element.append(picker.element, welcome.element, scale.element, question.element, mixing, ready, waiting.element, another, start.element);
  /** @type {ReturnType<typeof mixPanel>[]} */
  let mixes = [];
  let staged = ""; // the mix that has the page for itself

  /**
   * stage gives the page to a mix that holds the scale, from its top on, and takes it away again.
   * @param {string} id of the mix; empty when there is none
   */
  const stage = (id) => {
    document.body.dataset.stage = String(id !== "");
    if (id !== "" && id !== staged) scrollTo(0, 0);
    staged = id;
  };

  return {
    waiting: waiting.element,
    // byKey confirms the step of the mix on the stage, as Enter on a keypad asks for it.
    byKey: () => staged !== "" && mixes.length === 1 && mixing.checkVisibility() && mixes[0].byKey(),
    // weigh draws the weight and the bar of the pour, and nothing else.
    weigh(/** @type {number} */ now) {
      const row = store.get("scales", chosen);
      scale.update(row, now);
      for (const part of mixes) part.weigh(row, decimalsOf(row?.division_g));
    },
    /**
     * @param {number} now
     * @param {boolean} choices whether what can be chosen for the next mix may have changed, or its air
     */
    update(now, choices = true) {
      draw = () => this.update(now);
      const scales = store.all("scales").sort((a, b) => a.id.localeCompare(b.id));
      if (!scales.some((row) => row.id === chosen)) chosen = scales[0]?.id;
      const row = store.get("scales", chosen);
      picker.update(scales, chosen);
      scale.update(row, now);
      welcome.update(row);
      show(scale.element, !neverHeard(row));
      const batches = store.all("batches");
      const here = batches.filter((b) => b.state === "mixing" && b.scale === chosen);
      const current = here.filter((b) => !b.aside);
      const weighs = current.some((b) => !stirs.includes(b.step ?? "")); // else another may be begun beside it
      if (weighs) wanted = false;
      question.update(row);
      const asked = (row?.which_cup ?? []).length > 0;
      mixes = keyed(mixing, current, (b) => b.id, () => {
        wanted = false;
        return mixPanel({ store, attempt, tone });
      });
      show(mixing, !asked && !(wanted && !weighs));
      for (const part of mixes) part.draw(row, decimalsOf(row?.division_g), now);
      element.dataset.mixing = String(current.length > 0);
      const shown = current.length > 0 && !(wanted && !weighs);
      stage(asked ? "asked" : shown ? current[0].id : "");
      keepAwake(here.length > 0);
      // One thing at a time: while a mix is weighed, those that are ready are in the row of waiting mixes.
      const done = batches.filter(awaitsPress);
      for (const part of keyed(ready, current.length > 0 ? [] : done, (b) => b.id, () => readyCard(tools))) part.tick(now);
      const aside = here.filter((b) => b.aside);
      waiting.update([...(wanted && !weighs ? here : aside), ...(current.length > 0 ? done : [])], now);
      const waits = ready.childElementCount + aside.length + current.length > 0;
      show(another, !weighs && waits && !wanted && !asked && scales.length > 0);
      show(start.element, !weighs && (!waits || wanted) && !asked && scales.length > 0);
      start.wait(waitsFor(row), airUnknown(store.all("air")));
      if (choices) start.update();
    },
  };
}

/**
 * scalePicker chooses between scales, where there are several.
 * @param {(id: string) => void} choose
 */
function scalePicker(choose) {
  /** @type {string | undefined} */
  let chosenNow;
  const element = h("div", { class: "scale-picker", role: "group", "aria-label": say("scale.scale") });
  return {
    element,
    /**
     * @param {API.ScaleView[]} scales
     * @param {string | undefined} chosen
     */
    update(scales, chosen) {
      chosenNow = chosen;
      show(element, scales.length > 1);
      keyed(element, scales, (row) => row.id, (row) => {
        const b = h("button", { type: "button", class: "small", on: { click: () => choose(row.id) } });
        return {
          element: b,
          update(scale) {
            setText(b, scale.batch ? `${scale.id} (${scale.batch})` : scale.id);
            b.setAttribute("aria-pressed", String(scale.id === chosenNow));
          },
        };
      });
    },
  };
}
