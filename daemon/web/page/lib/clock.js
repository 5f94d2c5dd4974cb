// The bench's time as the page believes it to be. A tablet's own clock may be wrong by hours,
// and a time lapse runs faster than any clock, so the page follows the times that the rows
// carry: it anchors on the newest one and runs on from there at the rate they have shown.

const slopesKept = 5;
const slopesNeeded = 3; // one step of the clock is no rate
const natural = { low: 0.67, high: 1.5 }; // what counts as natural speed, given the jitter of a network
const behindMs = 3_000; // a row this much behind, twice running, means that the clock was set back

export class BenchClock {
  /**
   * @param {() => number} monotonic gives ms
   * @param {() => number} wall gives ms
   */
  constructor(monotonic = () => performance.now(), wall = () => Date.now()) {
    this.monotonic = monotonic;
    this.anchor = { at: wall(), mono: monotonic() };
    this.known = false;
    /** @type {{ at: number, mono: number } | null} */
    this.mark = null; // where the last slope was measured from
    /** @type {number[]} */
    this.slopes = [];
    this.rate = 1;
    this.behind = 0;
  }

  /** now returns the bench's time in ms. */
  now() {
    return this.anchor.at + (this.monotonic() - this.anchor.mono) * this.rate;
  }

  /**
   * saw takes in the time of a row that was fresh when it was sent.
   * @param {number} at in ms
   */
  saw(at) {
    if (!(at > 0)) return; // a scale that was never heard has no time yet
    const mono = this.monotonic();
    const lead = at - this.now();
    this.behind = lead < -behindMs * this.rate ? this.behind + 1 : 0;
    if (this.known && lead <= 0 && this.behind < 2) {
      if (this.behind === 0) this.measure(at, mono);
      return;
    }
    this.measure(at, mono);
    this.anchor = { at, mono };
    this.known = true;
    this.behind = 0;
  }

  /**
   * measure takes in a point of the slope: bench time over monotonic time.
   * @param {number} at
   * @param {number} mono
   */
  measure(at, mono) {
    const before = this.mark;
    if (before && mono - before.mono < 1000) return;
    if (before) {
      this.slopes = [...this.slopes, (at - before.at) / (mono - before.mono)].slice(-slopesKept);
    }
    this.mark = { at, mono };
    if (this.slopes.length < slopesNeeded) return;
    const median = [...this.slopes].sort((a, b) => a - b)[Math.floor(this.slopes.length / 2)];
    const rate = median > natural.low && median < natural.high ? 1 : Math.max(1, median);
    if (rate === this.rate) return;
    this.anchor = { at: this.now(), mono };
    this.rate = rate;
  }
}
