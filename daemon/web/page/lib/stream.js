// The stream of events. It is read with fetch rather than EventSource, which does not show the
// server's comment lines: they are the heartbeat that tells a quiet bench from a dead one.

export const silenceMs = 30_000; // after so long a silence the values shown are out of date
const lateAfter = 2.5; // heartbeats without anything: no weight that is shown can be trusted
const deadAfter = 3; // heartbeats: the connection is replaced
const watchMs = 250;
const retryMs = 500; // a service that has started again is found within this, and asking costs it nothing
const attemptMs = 6_000; // an attempt that nobody answers, as while the computer starts, is given up
const sleptMs = 3_000; // a step of the wall clock that no running page sees

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
  /**
   * onChange is called when late() has changed. heartbeatS is how often the server is to send
   * something.
   * @param {{ url: string, heartbeatS: number, onOpen: () => void, onEvent: (name: string, data: string) => void, onChange: () => void }} options
   */
  constructor({ url, heartbeatS, onOpen, onEvent, onChange }) {
    this.url = `${url}?heartbeat_s=${heartbeatS}`;
    this.heartbeatMs = 1000 * heartbeatS;
    this.onOpen = onOpen;
    this.onEvent = onEvent;
    this.onChange = onChange;
    this.heard = performance.now(); // when something last arrived
    this.connected = false;
    this.wasLate = true;
    this.watched = { wall: Date.now(), mono: performance.now() };
    /** @type {AbortController | null} */
    this.abort = null;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
  }

  start() {
    const show = () => {
      this.slept(); // before anything old is drawn
      this.open();
      this.tell();
    };
    document.addEventListener("visibilitychange", () => (document.hidden ? this.close() : show()));
    window.addEventListener("pagehide", () => this.close());
    window.addEventListener("pageshow", show);
    window.addEventListener("online", () => this.again());
    setInterval(() => this.watch(), watchMs);
    this.open();
  }

  /**
   * silentMs returns how long nothing has arrived.
   */
  silentMs() {
    return performance.now() - this.heard;
  }

  /**
   * late tells whether what is shown may already be wrong: there is no connection, or it has missed
   * its heartbeats.
   */
  late() {
    return !this.connected || this.silentMs() > lateAfter * this.heartbeatMs;
  }

  tell() {
    if (this.late() === this.wasLate) return;
    this.wasLate = !this.wasLate;
    this.onChange();
  }

  // slept notices that the device has slept. Its monotonic clock may have stood still meanwhile.
  slept() {
    const { wall, mono } = this.watched;
    this.watched = { wall: Date.now(), mono: performance.now() };
    const gap = this.watched.wall - wall - (this.watched.mono - mono);
    if (gap < sleptMs) return;
    this.heard -= gap;
    this.again();
  }

  watch() {
    this.slept();
    if (this.abort && this.connected && this.silentMs() > deadAfter * this.heartbeatMs) this.again();
    this.tell();
  }

  // again replaces the connection.
  again() {
    this.close();
    this.open();
  }

  close() {
    clearTimeout(this.timer);
    this.abort?.abort();
    this.abort = null;
    this.connected = false;
  }

  async open() {
    if (this.abort || document.hidden) return;
    clearTimeout(this.timer);
    const abort = (this.abort = new AbortController());
    try {
      await this.read(abort);
    } catch {
      // A fault is shown as silence; the next attempt follows below.
    }
    if (this.abort !== abort) return; // closed on purpose
    this.close();
    this.tell();
    this.timer = setTimeout(() => this.open(), retryMs);
  }

  /**
   * read reads the stream until it ends.
   * @param {AbortController} abort
   */
  async read(abort) {
    const unanswered = setTimeout(() => abort.abort(), attemptMs);
    const response = await fetch(this.url, { signal: abort.signal, headers: { Accept: "text/event-stream" }, cache: "no-store" })
      .finally(() => clearTimeout(unanswered));
    if (!response.ok || !response.body) throw new Error(`stream: status ${response.status}`);
    this.connected = true;
    this.heard = performance.now();
    this.onOpen();
    this.tell();
    const feed = eventParser((name, data) => this.onEvent(name, data));
    const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return;
      this.heard = performance.now();
      feed(value);
    }
  }
}
