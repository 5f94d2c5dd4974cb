// What the pages' modules share, beside what the API sends (api.d.ts).

declare namespace Page {
  /** The lists that the API has, by name, and what a row of each is. */
  interface Rows {
    air: API.AirView;
    scales: API.ScaleView;
    batches: API.BatchView;
    presses: API.PressView;
    lights: API.LightView;
    alarms: API.AlarmView;
    inks: API.InkView;
    cans: API.CanView;
    sensors: API.SensorView;
    neighbours: API.Bench;
  }
  type Kind = keyof Rows;

  /** What may stand between an element's tags; what is false or empty is left out. */
  type Child = Node | string | false | null | undefined;

  /** What a panel needs of its page, see live in lib/live.js. */
  interface Tools {
    store: import("./lib/store.js").Store;
    /** Runs something that the bench may refuse, and shows the refusal in the element. */
    attempt(element: HTMLElement, work: () => unknown): Promise<void>;
    /** Shows a notice at the top of the page. */
    notify(text: string): void;
  }

  /** An element that is made for a row and follows it. */
  interface Part<Row> {
    element: Element;
    update(row: Row): void;
  }

  /** An answer that can be chosen in a dialog. */
  interface Option<Value = string> {
    label: string;
    note?: string;
    value: Value;
  }

  /** When a batch ends, in ms. */
  interface Ends {
    expected: number;
    low: number;
    high: number;
  }

  /** A place for a cup: a press, or a zone where it is open or covered. */
  interface Place {
    press?: string;
    replace?: boolean;
    zone?: string;
    exposure?: number;
  }
}
