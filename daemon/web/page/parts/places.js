// The places of a cup: on a press, or in a zone, open or loosely covered.
import { say } from "../lib/words.js";
import { lifeNote } from "./safe.js";

// How much air reaches the mix under a cover, as a share of an open cup's. The half is common
// practice, not measured.
/** @type {{ label: Words.Key, exposure: number }[]} */
const covers = [{ label: "place.open", exposure: 1 }, { label: "place.covered", exposure: 0.5 }];

/**
 * pressNote says what is on a press now and until when that is safe, and that it is another ink than a
 * batch's where it is.
 * @param {Pick<import("../lib/store.js").Store, "get" | "clock">} store
 * @param {API.PressView} press
 * @param {API.BatchView} batch
 */
export function pressNote(store, press, batch) {
  if (!press.batch) return say("place.free");
  const old = store.get("batches", press.batch);
  const holds = { batch: press.batch, ink: old?.ink ?? "" };
  const life = lifeNote(old, store.clock.now());
  return [
    old && old.ink !== batch.ink ? say("place.holds-other", holds) : say("place.holds", holds),
    life && say("place.cup-is", { batch: press.batch, life }),
  ].filter(Boolean).join(". ");
}

/**
 * pressesFor lists the presses that a batch can go onto; one that holds another says so.
 * @param {import("../lib/store.js").Store} store
 * @param {API.BatchView} batch
 * @returns {Page.Option<Page.Place>[]}
 */
export function pressesFor(store, batch) {
  return store.all("presses").filter((p) => p.id !== batch.press).sort((a, b) => a.id.localeCompare(b.id)).map((p) => ({
    value: { press: p.id, ...(p.batch && { replace: true }) },
    label: p.id, note: pressNote(store, p, batch),
  }));
}

/**
 * zonesFor lists the zones known to the page, each open and loosely covered.
 * @param {import("../lib/store.js").Store} store
 * @returns {Page.Option<Page.Place>[]}
 */
export function zonesFor(store) {
  const zones = new Set([...store.all("air"), ...store.all("presses"), ...store.all("batches")].map((row) => row.zone).filter(Boolean));
  return [...zones].sort().flatMap((zone) => covers.map((c) => ({
    value: { zone, exposure: c.exposure }, label: say("place.zone", { zone }), note: say(c.label),
  })));
}

/**
 * massOf returns what was poured into a batch altogether, in g. Prints and evaporation are not
 * subtracted.
 * @param {API.BatchView} batch
 */
export function massOf(batch) {
  return (batch.components ?? []).reduce((sum, c) => sum + c.g, 0);
}

/**
 * partsOf returns the grams of each part of a batch.
 * @param {API.BatchView} batch
 */
export function partsOf(batch) {
  const of = (/** @type {string} */ part) => (batch.components ?? []).filter((c) => c.part === part).reduce((sum, c) => sum + c.g, 0);
  return { ink: of("ink"), hardener: of("hardener"), thinner: of("thinner") };
}
