// Asks how a text is read, once typing has paused. No DOM here: what is shown, and where, is the caller's.

export class Reading {
  /**
   * ask: (text, signal) -> Promise of {reads} or {because}. told: called with {reads}, {because} or {} when the text is empty.
   */
  constructor({ ask, told, pause = 180, timers = globalThis }) {
    this.ask = ask;
    this.told = told;
    this.pause = pause;
    this.timers = timers;
  }

  typed(text) {
    this.timers.clearTimeout(this.timer);
    this.underWay?.abort();
    if (!text.trim()) {
      this.told({});
      return;
    }
    this.timer = this.timers.setTimeout(() => this.read(text), this.pause);
  }

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
