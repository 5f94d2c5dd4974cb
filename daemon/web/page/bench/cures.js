// What puts a pour right that went too far, while it is still on the scale and nothing is confirmed.
import { h, keyed, setText, show } from "../lib/dom.js";
import { grams } from "../lib/format.js";
import { say } from "../lib/words.js";
import { term } from "../parts/terms.js";
import { aimWords, pourList } from "./corrections.js";

/**
 * curesOf returns those that are of use: what does not fit into the cup is not added.
 * @param {API.PouringView | undefined} pour
 */
const curesOf = (pour) => (pour?.cures ?? []).filter((c) => c.fits || c.kind !== "add");

/**
 * bestCure returns the first of them.
 * @param {API.PouringView | undefined} pour
 */
export const bestCure = (pour) => curesOf(pour)[0];

/**
 * inside rounds an accepted bound to a tenth of a gram, towards the accepted range.
 * @param {number} bound
 * @param {(figure: number) => number} round
 */
export const inside = (bound, round) => round(Math.round(bound * 1e4) / 1e3) / 10;

/**
 * cureWords writes what to do, and what that comes to.
 * @param {API.Cure} cure
 * @param {Pick<API.PouringView, "high_g">} pour that it puts right
 */
export function cureWords(cure, pour) {
  const total = grams(cure.total_g);
  const mass = grams(cure.g);
  switch (cure.kind) {
    case "add":
      return { act: say("cure.add", { what: pourList({ add: cure.add ?? {} }) }), comes: say("cure.fits", { total }), aim: aimWords(cure) };
    case "take-out":
      return { act: say("cure.take-out", { mass, part: term("part", cure.part ?? "") }), comes: say("cure.down-to", { most: grams(inside(pour.high_g, Math.floor)), total }), aim: "" };
  }
  return { act: say("cure.larger-cup", { cup: cure.cup ?? "" }), comes: say("cure.whole", { total }), aim: "" };
}

// curesPart lists them all below the bar; the first is also in its words.
export function curesPart() {
  const list = h("ul", { class: "cure-list" });
  const element = h("div", { class: "cures", role: "group", "aria-label": say("cure.title") }, list);
  return {
    element,
    update(/** @type {API.PouringView | undefined} */ pour) {
      const cures = curesOf(pour);
      show(element, cures.length > 0);
      keyed(list, cures.map((c) => ({ key: `${c.kind} ${c.to ?? ""} ${c.part ?? ""}`, cure: c, high_g: pour?.high_g ?? 0 })), (row) => row.key, () => {
        const act = h("strong");
        const comes = h("span");
        return {
          element: h("li", {}, act, " ", comes),
          update({ cure, high_g }) {
            const words = cureWords(cure, { high_g });
            setText(act, words.aim ? say("cure.with-aim", { act: words.act, aim: words.aim }) : words.act);
            setText(comes, words.comes);
          },
        };
      });
    },
  };
}
