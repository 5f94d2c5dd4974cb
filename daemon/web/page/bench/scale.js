// The scale's reading, in large figures.
import { outOfContact } from "../lib/contact.js";
import { h, setData, setText, show } from "../lib/dom.js";
import { age, decimalsOf, number, secondsUntil } from "../lib/format.js";
import { say } from "../lib/words.js";

const oldAfterSeconds = 40; // a reading older than this says so

export function scalePanel() {
  const figure = h("span", { class: "weight-figure", text: "–" });
  const unit = h("span", { class: "unit", text: "\u00a0g" });
  const settled = h("span", { class: "settled" });
  const why = h("span", { class: "weight-why" });
  const name = h("h2", { class: "weight-name" });
  const element = h(
    "section", { class: "weight", "aria-label": say("scale.scale") }, name,
    h("p", { class: "weight-line" }, figure, unit),
    h("p", { class: "weight-state" }, settled, " ", why),
  );
  return {
    element,
    /**
     * @param {API.ScaleView | undefined} scale
     * @param {number} now
     */
    update(scale, now) {
      setData(element, "quality", scale?.quality ?? "bad");
      setText(name, scale ? say("scale.on", { scale: scale.id }) : say("scale.none"));
      const weight = scale?.weight_g;
      const known = scale !== undefined && weight !== undefined;
      setData(element, "known", String(known));
      show(unit, known);
      if (!known) {
        setText(figure, "–");
        setText(settled, say("devices.no-weight"));
        setData(element, "stable", "none");
        setText(why, scale?.why ?? "");
        show(why, why.textContent !== "");
        return;
      }
      setText(figure, number(weight, decimalsOf(scale.division_g)));
      const cut = outOfContact();
      setData(element, "fresh", String(!cut));
      const fresh = scale.quality === "good" && !cut;
      setData(element, "stable", fresh ? String(scale.stable) : "none");
      setText(settled, cut ? say("stage.no-contact") : !fresh ? say("scale.no-fresh") : scale.stable ? say("scale.settled") : say("scale.moving"));
      const old = -secondsUntil(Date.parse(scale.time ?? ""), now);
      // Without contact nothing is added: what is below must not move at that moment.
      const words = cut ? [] : [!fresh && scale.why, (!fresh || old > oldAfterSeconds) && say("devices.read", { age: age(old) })];
      setText(why, words.filter(Boolean).join(", "));
      show(why, why.textContent !== "");
    },
  };
}
