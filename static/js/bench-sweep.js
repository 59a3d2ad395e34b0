// @ts-check
// The hand that sweeps: once there and back, to and fro, or after held keys. Told the time, it tells where the streak is.

const SWEEP_MM = 11;
const PERIOD_MS = 3000;
/** How fast a held key moves the streak, in mm a second. */
const KEY_SPEED = 8;

export class Sweep {
  constructor() {
    this.going = false;
    /** Whether the sweep ends when it is back. */
    this.once = false;
    /** -1, 0 or 1: which way a held key moves the streak. */
    this.pushing = 0;
    this.phase = 0;
    this.gone = 0;
    /** @type {number | null} */
    this.last = null;
  }

  /**
   * Begin or end the sweep to and fro, from where the streak is.
   * @param {boolean} going
   * @param {number} faceMm
   * @param {boolean} [once]
   */
  go(going, faceMm, once = false) {
    this.going = going;
    this.once = once;
    this.gone = 0;
    this.phase = Math.asin(Math.min(1, Math.max(-1, faceMm / SWEEP_MM))) / (2 * Math.PI);
  }

  /** Whether the next frame will differ from this one. */
  get moving() {
    return this.going || this.pushing !== 0;
  }

  /**
   * Where the streak is at a moment, in mm, having been at `faceMm` at the last.
   * @param {number} now milliseconds
   * @param {number} faceMm
   */
  at(now, faceMm) {
    const passed = this.last === null ? 0 : Math.min(100, now - this.last);
    this.last = this.moving ? now : null;
    if (this.pushing) {
      const to = faceMm + (this.pushing * KEY_SPEED * passed) / 1000;
      if (this.going) this.go(true, to);
      return to;
    }
    if (!this.going) return faceMm;
    this.phase += passed / PERIOD_MS;
    this.gone += passed / PERIOD_MS;
    if (this.once && this.gone >= 1) this.going = false;
    return SWEEP_MM * Math.sin(2 * Math.PI * this.phase);
  }
}
