// The rows that the page shows, by kind and id. Lists and the stream both write here; what the
// stream said after a list was asked for is newer than the list's answer.

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

// A row that says of itself that it is over.
const over = {
  batches: (row) => row.state === "closed",
  alarms: (row) => row.state === "normal",
};

export class Store {
  constructor(onChange, now = () => performance.now()) {
    this.onChange = onChange;
    this.now = now;
    this.kinds = Object.fromEntries(Object.keys(keyOf).map((kind) => [kind, new Map()]));
    this.loaded = new Set();
  }

  // put takes one row in, from the stream or as the answer to a change. One that knows of fewer
  // events than what is shown was overtaken on its way.
  put(kind, row) {
    if (this.kinds[kind].get(keyOf[kind](row))?.row.seq > row.seq) return;
    this.kinds[kind].set(keyOf[kind](row), { row, heard: this.now(), over: over[kind]?.(row) ?? false });
    this.onChange(kind);
  }

  // replace takes in a whole list that was asked for at the given moment.
  replace(kind, rows, asked) {
    const before = this.kinds[kind];
    const after = new Map();
    for (const row of rows) {
      after.set(keyOf[kind](row), { row, heard: asked, over: over[kind]?.(row) ?? false });
    }
    for (const [key, entry] of before) if (entry.heard > asked) after.set(key, entry);
    this.kinds[kind] = after;
    this.loaded.add(kind);
    this.onChange(kind);
  }

  get(kind, key) {
    const entry = this.kinds[kind].get(key);
    return entry && !entry.over ? entry.row : undefined;
  }

  all(kind) {
    return [...this.kinds[kind].values()].filter((entry) => !entry.over).map((entry) => entry.row);
  }
}
