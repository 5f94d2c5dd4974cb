// Mending a pour: what is in the cup and not yet taken, and below it the pours that were taken, each
// with its weight, its time and an undo of its own.
import { list } from "../lib/api.js";
import { pick } from "../lib/dialogs.js";
import { button, h, setText, show } from "../lib/dom.js";
import { clockTime, grams } from "../lib/format.js";
import { say } from "../lib/words.js";
import { term } from "../parts/terms.js";

/** @type {["ink", "hardener", "thinner"]} */
const parts = ["ink", "hardener", "thinner"];

/**
 * What a person says of a pour: a change by its verb and body.
 * @typedef {{ verb: "confirm" | "correct", body: object }} Said
 */

/**
 * notTaken returns what is in the cup, can be named, and is in no record yet; undefined when nothing
 * is. The weight of an empty cup is no pour.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 */
export function notTaken(batch, scale) {
  if (scale?.batch !== batch.id || batch.step === "cup") return undefined;
  return scale.not_taken;
}

/**
 * canMend tells whether the mix has a pour that can be mended: not once the thinner is stirred in.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 */
export const canMend = (batch, scale) => (batch.pours ?? []).some((p) => p.seq !== undefined) || notTaken(batch, scale) !== undefined;

/**
 * naming returns the change that names what is not taken yet. The part that it counts as anyway is
 * confirmed.
 * @param {API.BatchView} batch
 * @param {API.NotTaken} there
 * @param {string} part
 * @returns {Said}
 */
function naming(batch, there, part) {
  if (part === there.part) return { verb: "confirm", body: { step: batch.step, part } };
  return { verb: "correct", body: { not_taken: true, part } };
}

/**
 * wrongCanDialog asks which pour was something else. One tap answers.
 * @param {API.BatchView} batch
 * @param {API.ScaleView | undefined} scale
 * @param {Pick<import("../lib/store.js").Store, "get" | "all" | "clock">} store
 * @param {(said: Said) => Promise<unknown>} send
 */
export function wrongCanDialog(batch, scale, store, send) {
  const there = notTaken(batch, scale);
  const now = store.clock.now();
  /** @type {Page.Option<Said | What>} */
  const other = { label: say("wrong.other"), note: say("wrong.other-note"), value: { not_taken: true, part: there?.part ?? "" } };
  /** @type {{ legend: string, options: Page.Option<Said | What>[] }[]} */
  const groups = [];
  if (there) {
    groups.push({
      legend: say("wrong.not-taken", { mass: grams(there.g) }),
      options: [...parts.map((part) => ({ label: say(`wrong.part-${part}`), value: /** @type {Said | What} */ (naming(batch, there, part)) })), other],
    });
  }
  for (const pour of [...(batch.pours ?? [])].reverse()) {
    if (pour.seq === undefined) continue;
    groups.push({
      legend: say("wrong.taken", { mass: grams(pour.g), part: term("part", pour.part), time: clockTime(Date.parse(pour.at), now) }),
      options: [
        ...parts.filter((part) => part !== pour.part).map((part) => ({
          label: say("wrong.it-was", { part: say(`wrong.part-${part}`) }), value: /** @type {Said} */ ({ verb: "correct", body: { pour: pour.seq, part } }),
        })),
        { ...other, value: { pour: pour.seq, part: pour.part, can: pour.can, material: pour.material } },
        { label: say("wrong.undo"), note: say("wrong.undo-note"), value: { verb: "correct", body: { pour: pour.seq, undo: true } } },
      ],
    });
  }
  pick({ title: say("wrong.title"), lead: there ? "" : say("wrong.lead"), groups,
    async submit(said) {
      if ("verb" in said) return void await send(said);
      const cans = await list("cans").catch(() => []); // without an answer the materials are named alone
      return () => sourceDialog(batch, said, cans, store, send);
    },
  });
}

/**
 * What is the pour that a source is asked for: one that was taken, by its number, or what is not taken yet; and
 * what is on record of it.
 * @typedef {{ pour?: number, not_taken?: true, part: string, can?: string, material?: string }} What
 */

/**
 * sourceDialog asks for the can that a pour really came from, or for its material where no can of it is
 * registered.
 * @param {API.BatchView} batch
 * @param {What} what
 * @param {API.CanView[]} cans
 * @param {Pick<import("../lib/store.js").Store, "get" | "all">} store
 * @param {(said: Said) => Promise<unknown>} send
 */
function sourceDialog(batch, { part: counts, can: known, material: is, ...which }, cans, store, send) {
  const ink = store.get("inks", batch.ink);
  /** @type {Record<string, string[]>} */
  const own = { ink: [batch.ink], hardener: ink?.hardener ? [ink.hardener] : [], thinner: ink?.thinners ?? [] };
  const inks = store.all("inks");
  /** @type {Record<string, string[]>} */
  const all = { ink: inks.map((i) => i.id), hardener: inks.flatMap((i) => i.hardener ?? []), thinner: inks.flatMap((i) => i.thinners ?? []) };
  const said = (/** @type {string} */ part, /** @type {{ can?: string, material?: string }} */ from) => (
    // What it counts as anyway, from another can, is confirmed.
    which.not_taken && part === counts && from.can && own[part]?.includes(cans.find((c) => c.id === from.can)?.material ?? "")
      ? { verb: /** @type {const} */ ("confirm"), body: { step: batch.step, part, ...from } }
      : { verb: /** @type {const} */ ("correct"), body: { ...which, part, ...from } });
  const groups = [...parts].sort((a, b) => Number(b === counts) - Number(a === counts)).map((part) => {
    const registered = cans.filter((c) => c.part === part && c.state !== "empty" && c.id !== known);
    const named = [...new Set(all[part])].filter((m) => m !== is && !own[part]?.includes(m) && !registered.some((c) => c.material === m));
    return {
      legend: say(`wrong.part-${part}`),
      options: [
        ...registered.map((c) => ({ label: c.material, note: [c.id, c.lot && say("cans.lot", { lot: c.lot }), !own[part]?.includes(c.material) && say("wrong.not-of-recipe")].filter(Boolean).join(", "), value: said(part, { can: c.id }) })),
        ...named.map((m) => ({ label: m, note: say("wrong.not-of-recipe"), value: said(part, { material: m }) })),
      ],
    };
  });
  const any = groups.some((g) => g.options.length > 0);
  pick({ title: say("wrong.source"), lead: any ? "" : say("wrong.no-source"), groups, submit: async (answer) => { await send(answer); } });
}

/**
 * contaminatedPart asks what becomes of a mix in which there is a material that its ink does not go with: it is
 * scrapped, or somebody says why it is used.
 * @param {() => void} scrap
 * @param {() => void} use
 */
export function contaminatedPart(scrap, use) {
  const words = h("p");
  const element = h("div", { class: "question contaminated", role: "group", "aria-label": say("wrong.contaminated-title"), hidden: true }, words,
    button(say("stage.scrap"), "big", scrap), button(say("wrong.use"), "big", use));
  let open = false;
  return {
    element,
    asks: () => open,
    /** @param {API.BatchView} batch */
    update(batch) {
      const pour = (batch.pours ?? []).find((p) => p.material && !p.kept);
      open = pour !== undefined;
      show(element, open);
      if (pour) setText(words, say("wrong.contaminated", { mass: grams(pour.g), material: pour.material ?? "", ink: batch.ink }));
    },
  };
}

/**
 * namePart asks what is in the cup and in no record, where the bench cannot tell: after an undo.
 * @param {(said: Said) => unknown} send
 */
export function namePart(send) {
  const words = h("p");
  /** @type {API.BatchView} */
  let batch;
  /** @type {API.NotTaken | undefined} */
  let there;
  const element = h("div", { class: "question", role: "group", "aria-label": say("wrong.name-title"), hidden: true }, words,
    parts.map((part) => button(say(`wrong.part-${part}`), "big", () => there && send({ verb: "correct", body: { not_taken: true, part } }))));
  return {
    element,
    asks: () => there !== undefined,
    /**
     * @param {API.BatchView} row
     * @param {API.ScaleView | undefined} scale
     */
    update(row, scale) {
      batch = row;
      const found = notTaken(batch, scale);
      there = found?.must_name ? found : undefined;
      show(element, there !== undefined);
      if (there) setText(words, say("wrong.name", { mass: grams(there.g) }));
    },
  };
}
