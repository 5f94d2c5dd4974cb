// The stream of events. It is read with fetch rather than EventSource, which does not show the
// server's comment lines: they are the heartbeat that tells a quiet bench from a dead one.

export const heartbeatMs = 15_000;
export const silenceMs = 2 * heartbeatMs; // after so long a silence the values shown are out of date
const deadMs = 3 * heartbeatMs; // a connection that has been silent for so long is replaced
const firstRetryMs = 1_000;
const longestRetryMs = 10_000;

/**
 * eventParser returns a function that takes pieces of text as they arrive and calls
 * onEvent(name, data) for each complete event (WHATWG HTML, 9.2.6). A comment is no event.
 * @param {(name: string, data: string) => void} onEvent
 */
export function eventParser(onEvent) {
  let rest = "";
  let name = "";
  /** @type {string[]} */
  let data = [];
  /** @param {string} text */
  const line = (text) => {
    if (text === "") {
      if (data.length) onEvent(name || "message", data.join("\n"));
      name = "";
      data = [];
      return;
    }
    const colon = text.indexOf(":");
    const field = colon < 0 ? text : text.slice(0, colon);
    const value = colon < 0 ? "" : text.slice(colon + 1).replace(/^ /, "");
    if (field === "event") name = value;
    else if (field === "data") data.push(value);
  };
  return (/** @type {string} */ text) => {
    rest += text;
    // A carriage return at the very end may be the first half of a line's end.
    const lines = rest.split(/\r\n|\n|\r(?!$)/);
    rest = lines.pop() ?? "";
    lines.forEach(line);
  };
}

// Stream keeps one connection open while the page can be seen. A hidden page closes it: a browser
// opens at most six to one origin, and the seventh tab would hang.
export class Stream {
  /** @param {{ url: string, onOpen: () => void, onEvent: (name: string, data: string) => void }} options */
  constructor({ url, onOpen, onEvent }) {
    this.url = url;
    this.onOpen = onOpen;
    this.onEvent = onEvent;
    this.heard = performance.now(); // when something last arrived
    this.connected = false;
    this.retryMs = firstRetryMs;
    /** @type {AbortController | null} */
    this.abort = null;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
  }

  start() {
    document.addEventListener("visibilitychange", () => (document.hidden ? this.close() : this.open()));
    window.addEventListener("pagehide", () => this.close());
    window.addEventListener("pageshow", () => this.open());
    setInterval(() => this.watch(), 1000);
    this.open();
  }

  /**
   * silentMs returns how long nothing has arrived.
   */
  silentMs() {
    return performance.now() - this.heard;
  }

  watch() {
    if (this.abort && this.connected && this.silentMs() > deadMs) {
      this.close();
      this.open();
    }
  }

  close() {
    clearTimeout(this.timer);
    this.abort?.abort();
    this.abort = null;
    this.connected = false;
  }

  async open() {
    if (this.abort || document.hidden) return;
    const abort = (this.abort = new AbortController());
    try {
      await this.read(abort.signal);
    } catch {
      // A fault is shown as silence; the next attempt follows below.
    }
    if (this.abort !== abort) return; // closed on purpose
    this.abort = null;
    this.connected = false;
    this.timer = setTimeout(() => this.open(), this.retryMs);
    this.retryMs = Math.min(2 * this.retryMs, longestRetryMs);
  }

  /**
   * read reads the stream until it ends.
   * @param {AbortSignal} signal
   */
  async read(signal) {
    const response = await fetch(this.url, { signal, headers: { Accept: "text/event-stream" }, cache: "no-store" });
    if (!response.ok || !response.body) throw new Error(`stream: status ${response.status}`);
    this.connected = true;
    this.heard = performance.now();
    this.onOpen();
    const feed = eventParser((name, data) => this.onEvent(name, data));
    const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return;
      this.heard = performance.now();
      this.retryMs = firstRetryMs;
      feed(value);
    }
  }
}
