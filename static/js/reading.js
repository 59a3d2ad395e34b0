// @ts-check
// Asks how a text is read, once typing has paused. No DOM here: what is shown, and where, is the caller's.

/** How a text is read, or why it cannot be; neither when it is empty. @typedef {{reads?: string, because?: string}} Read */

export class Reading {
  /**
   * @param {object} how
   * @param {(text: string, signal: AbortSignal) => Promise<Read>} how.ask
   * @param {(read: Read) => void} how.told
   * @param {number} [how.pause] milliseconds without typing
   * @param {Pick<typeof globalThis, "setTimeout" | "clearTimeout">} [how.timers]
   */
  constructor({ ask, told, pause = 180, timers = globalThis }) {
    this.ask = ask;
    this.told = told;
    this.pause = pause;
    this.timers = timers;
    /** @type {number | undefined} */
    this.timer = undefined;
    /** @type {AbortController | undefined} */
    this.underWay = undefined;
  }

  /** @param {string} text */
  typed(text) {
    this.timers.clearTimeout(this.timer);
    this.underWay?.abort();
    if (!text.trim()) {
      this.told({});
      return;
    }
    this.timer = this.timers.setTimeout(() => this.read(text), this.pause);
  }

  /** @param {string} text */
  async read(text) {
    const underWay = (this.underWay = new AbortController());
    try {
      const answer = await this.ask(text, underWay.signal);
      if (!underWay.signal.aborted) this.told(answer);
    } catch {
      // Offline or overtaken by the next key: marking reads the text anyway.
      if (!underWay.signal.aborted) this.told({});
    }
  }
}
