// The targets of the next mix before anything is poured, their reasons, and how exactly this scale
// can weigh them.
import { get, Refused } from "../lib/api.js";
import { h, phrase, setText, setWords, show } from "../lib/dom.js";
import { clockTime, decimalsOf, grams, percent, pipettes } from "../lib/format.js";
import { say } from "../lib/words.js";
import { term } from "../parts/terms.js";

/**
 * gradeWords writes how a scale suits a recipe.
 * @param {API.RecipeView} r
 */
export function gradeWords(r) {
  const figures = { scale: r.scale, known: percent(r.ratio_uncertainty_pct, 1), asked: percent(r.ratio_tolerance_pct) };
  switch (r.grade) {
    case "fine":
      return { grade: say("recipe.fine"), text: say("recipe.knows", figures) };
    case "usable":
      return { grade: say("recipe.usable"), text: say("recipe.knows", figures) };
  }
  return { grade: say("recipe.coarse"), text: `${say("recipe.knows", figures)} ${say("recipe.from", { mass: grams(r.smallest_ink_g, 0) })}` };
}

/**
 * lifeTimes returns the times of day to which a mix that is made now lasts.
 * @param {API.NewLife} life
 * @param {number} now
 */
const lifeTimes = (life, now) => ({ until: clockTime(Date.parse(life.ends_at.expected), now), safe: clockTime(Date.parse(life.ends_at.low), now) });

const freshMs = 60_000; // the air changes, and so does the life of a mix that is begun now

// recipePart shows it. ask asks for it again when the query has changed.
export function recipePart() {
  const what = h("p", { class: "recipe-what" });
  const thinner = h("p");
  const why = h("ul", { class: "recipe-why" });
  const grade = h("strong");
  const scale = h("span");
  const refusal = h("p", { class: "quiet", hidden: true });
  // What the mix comes to is beside the button that starts it, whatever has been scrolled.
  const life = h("p", { class: "recipe-life" });
  const smaller = h("p", { class: "recipe-smaller" });
  const sum = h("div", { class: "recipe-sum", "aria-live": "polite" }, what, life, smaller);
  const short = h("small", { class: "start-safe" }); // the same in a word, where there is no room for more
  const body = h("div", { hidden: true }, thinner, h("p", { class: "recipe-grade" }, grade, scale), why);
  const element = h("section", { class: "recipe", "aria-label": say("recipe.title"), "aria-live": "polite" }, body, refusal);
  let asked = "";
  let askedAt = -Infinity;
  const draw = (/** @type {API.RecipeView} */ r) => {
    const fine = Math.max(1, decimalsOf(r.division_g));
    const { ink, hardener, thinner: thinnerG } = r.targets_g;
    const parts = [{ part: "ink", g: ink }, { part: "hardener", g: hardener }, { part: "thinner", g: thinnerG }].filter(({ g }) => g > 0);
    const now = r.life ? Date.parse(r.life.from) : 0;
    setText(life, r.life ? say("start.life", lifeTimes(r.life, now)) : r.life_unknown ? say("start.life-unknown", { why: r.life_unknown }) : "");
    setText(short, r.life ? `${say("life.safe-to")} ${lifeTimes(r.life, now).safe}` : "");
    const other = r.smaller_cup;
    setWords(smaller, other?.life ? say("start.smaller", { cup: other.cup, mass: grams(other.ink_g, 0), ...lifeTimes(other.life, now) }) : "");
    show(smaller, smaller.textContent !== "");
    setText(what, say("recipe.sum", { parts: parts.map(({ part, g }) => say("correction.pour", { mass: grams(g, fine), part: term("part", part) })).join(", "), total: grams(r.total_g, fine) }));
    show(thinner, r.thinner_max_pct > 0);
    setText(thinner, say("recipe.thinner", {
      mass: grams(r.targets_g.thinner, fine), step: grams(r.division_g, decimalsOf(r.division_g)), pipettes: pipettes(r.targets_g.thinner),
    }));
    const words = gradeWords(r);
    setText(grade, words.grade);
    setWords(scale, ` ${words.text}`);
    element.dataset.grade = r.grade;
    why.replaceChildren(...(r.why ?? []).map((text) => phrase("li", {}, text)));
  };
  return {
    element,
    sum,
    short,
    /** @param {Record<string, string | number | undefined>} query */
    async ask(query) {
      const wanted = new URLSearchParams(Object.entries(query).map(([name, value]) => [name, String(value)])).toString();
      if (wanted === asked && performance.now() - askedAt < freshMs) return;
      asked = wanted;
      askedAt = performance.now();
      try {
        const r = await get(`recipe?${wanted}`);
        if (asked !== wanted) return; // another choice was made meanwhile
        draw(r);
        show(body, true);
        show(sum, true);
        show(refusal, false);
        show(element, true);
      } catch (error) {
        if (asked !== wanted) return;
        asked = "";
        show(body, false);
        show(sum, false);
        setText(short, "");
        show(refusal, error instanceof Refused && error.status === 422);
        show(element, !refusal.hidden);
        setText(refusal, error instanceof Refused ? error.message : "");
      }
    },
  };
}
