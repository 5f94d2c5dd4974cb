// How a batch ended and where it stood, for the pages that show batches of the past.
import { dayTime } from "../lib/dates.js";
import { h } from "../lib/dom.js";
import { say } from "../lib/words.js";
import { term } from "./terms.js";

/**
 * outcome writes how a batch ended.
 * @param {string | undefined} word
 */
export const outcome = (word) => term("outcome", word);

/**
 * kindOf writes what was mixed: the ink, its class of colour, and the kind of motif.
 * @param {{ ink: string, colour_class?: string, artwork?: string }} b
 */
export const kindOf = (b) => [
  b.ink, b.colour_class && say("history.colour", { colour: term("colour", b.colour_class) }), b.artwork && say("history.motif", { motif: term("artwork", b.artwork) }),
].filter(Boolean).join(", ");

/**
 * stays lists the presses that a batch stood on, with times and prints.
 * @param {API.Past | API.History} b
 */
export function stays(b) {
  const presses = b.presses ?? [];
  if (presses.length === 0) return h("p", { text: say("history.no-press") });
  return h("ul", {}, presses.map((s) => h("li", { class: "stay" }, h("b", { text: s.press }),
    ` ${s.to ? say("history.stay", { from: dayTime(s.from), to: dayTime(s.to) }) : say("history.stays", { from: dayTime(s.from) })}: ${say("history.prints", { n: s.prints })}`)));
}

/**
 * printed writes how many prints were made, and how many of them were rejected.
 * @param {{ prints: number, defects?: Record<string, number> }[]} rows
 */
export function printed(rows) {
  const prints = rows.reduce((sum, b) => sum + b.prints, 0);
  const rejects = rows.flatMap((b) => Object.values(b.defects ?? {})).reduce((sum, n) => sum + n, 0);
  const words = say("history.prints", { n: prints });
  return rejects === 0 ? words : `${words}, ${say("history.rejects", { n: rejects })}`;
}
