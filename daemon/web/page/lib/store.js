// The rows that the page shows, by kind and key. Lists and the stream both write here; a row that
// the stream sent after a list was asked for is newer than the list's answer.
import { BenchClock } from "./clock.js";

/** @type {{ [K in Page.Kind]: (row: Page.Rows[K]) => string }} */
export const keyOf = {
  air: (row) => row.zone,
  scales: (row) => row.id,
  batches: (row) => row.id,
  presses: (row) => row.id,
  lights: (row) => row.id,
  alarms: (row) => `${row.name}/${row.subject}`,
  inks: (row) => row.id,
  cans: (row) => row.id,
  sensors: (row) => row.id,
  neighbours: (row) => row.bench,
};

/**
 * Rows that say of themselves that they are over.
 * @type {{ [K in Page.Kind]?: (row: Page.Rows[K]) => boolean }}
 */
const isOver = {
  batches: (row) => row.state === "closed",
  alarms: (row) => row.state === "normal",
};

/**
 * A row, when it was heard (ms, monotonic), and whether it is over.
 * @template {Page.Kind} K
 * @typedef {{ row: Page.Rows[K], heard: number, over: boolean }} Entry
 */

export class Store {
  /**
   * @param {(kind: Page.Kind) => void} onChange is called with each kind that changes
   * @param {() => number} now gives monotonic ms
   */
  constructor(onChange, now = () => performance.now()) {
    this.onChange = onChange;
    this.now = now;
    this.clock = new BenchClock();
    /** @type {Map<Page.Kind, Map<string, Entry<any>>>} */
    this.kinds = new Map();
    /** @type {Set<Page.Kind>} */
    this.loaded = new Set();
  }

  /**
   * @template {Page.Kind} K
   * @param {K} kind
   * @returns {Map<string, Entry<K>>}
   */
  entries(kind) {
    let entries = this.kinds.get(kind);
    if (!entries) this.kinds.set(kind, (entries = new Map()));
    return entries;
  }

  /**
   * put takes one row in, from the stream or as the answer to a change. One that knows of fewer
   * events than the row that is shown was overtaken on its way.
   * @template {Page.Kind} K
   * @param {K} kind
   * @param {Page.Rows[K]} row
   */
  put(kind, row) {
    const entries = this.entries(kind);
    const key = keyOf[kind](row);
    if (seqOf(entries.get(key)?.row) > seqOf(row)) return;
    entries.set(key, { row, heard: this.now(), over: isOver[kind]?.(row) ?? false });
    this.onChange(kind);
  }

  /**
   * replace takes in a whole list that was asked for at the given moment, in monotonic ms.
   * @template {Page.Kind} K
   * @param {K} kind
   * @param {Page.Rows[K][]} rows
   * @param {number} asked
   */
  replace(kind, rows, asked) {
    /** @type {Map<string, Entry<K>>} */
    const after = new Map();
    for (const row of rows) {
      after.set(keyOf[kind](row), { row, heard: asked, over: isOver[kind]?.(row) ?? false });
    }
    for (const [key, entry] of this.entries(kind)) if (entry.heard > asked) after.set(key, entry);
    this.kinds.set(kind, after);
    this.loaded.add(kind);
    this.onChange(kind);
  }

  /**
   * get returns a row that is not over; undefined when there is none.
   * @template {Page.Kind} K
   * @param {K} kind
   * @param {string | null | undefined} key
   * @returns {Page.Rows[K] | undefined}
   */
  get(kind, key) {
    const entry = this.entries(kind).get(key ?? "");
    return entry && !entry.over ? entry.row : undefined;
  }

  /**
   * all returns the rows of a kind that are not over.
   * @template {Page.Kind} K
   * @param {K} kind
   * @returns {Page.Rows[K][]}
   */
  all(kind) {
    return [...this.entries(kind).values()].filter((entry) => !entry.over).map((entry) => entry.row);
  }
}

/**
 * seqOf is the number of the newest event that a row knows of; NaN where it does not say.
 * @param {unknown} row
 */
function seqOf(row) {
  return Number(Object(row).seq);
}
