// What the sensors measured in the last week, month or year, how sensors and scales were, and the checks, as pictures.
import { isoDay } from "../lib/dates.js";
import { chips } from "../lib/dialogs.js";
import { h } from "../lib/dom.js";
import { picture } from "../lib/picture.js";
import { say } from "../lib/words.js";

const dayMs = 24 * 3600e3;

/**
 * picturesPanel shows them. Its update asks for all of them again, and checked for the one of the checks.
 * @param {HTMLElement} element
 */
export function picturesPanel(element) {
  const measured = picture(0.45, 420);
  const checks = picture(0.35);
  const sensors = picture(0.8, 520);
  const scales = picture(0.6, 390);
  const spans = chips({
    legend: say("devices.span"), name: "days", chosen: "30",
    options: [{ value: "7", label: say("devices.week") }, { value: "30", label: say("devices.month") }, { value: "365", label: say("devices.year") }],
  });
  element.append(h("h2", { text: say("devices.past") }), spans, measured.element, sensors.element, scales.element, checks.element);
  const measure = () => {
    const days = Number(spans.querySelector("input:checked")?.getAttribute("value"));
    return measured.load(`pictures/sensors?from=${isoDay(Date.now() - days * dayMs)}`);
  };
  spans.addEventListener("change", measure);
  const checked = () => checks.load("pictures/checks");
  return {
    checked,
    async update() {
      await Promise.all([measure(), sensors.load("pictures/health?of=sensors"), scales.load("pictures/health?of=scales"), checked()]);
    },
  };
}
