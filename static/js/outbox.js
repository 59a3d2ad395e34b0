// @ts-check
// Answers on their way: kept in this browser until the server has them. No DOM here: what is shown is the caller's.
//
// An answer is put down before it is sent and taken away once a 2xx comes, or an answer that no sending again can
// change. It carries the case's own id, so that sending it twice keeps it once. Only the learner who wrote it sends it:
// a tablet on a ward is shared.

const PLACE = "two-meridians-outbox";
const SETTLED = [200, 201, 404, 409, 422];

/** An answer on its way, and when it was written. @typedef {{learner: string, url: string, body: string, at?: number}} Kept */
/** What came of sending one: 0 where there is no connection. @typedef {{status: number, go?: string, text?: string}} Outcome */

/** What an answer in JSON says; a page says nothing. @param {string} text */
function read(text) {
  try {
    return JSON.parse(text) ?? {};
  } catch {
    return {};
  }
}

/** A form without files as the body of a request. @param {FormData} data */
export function asQuery(data) {
  return new URLSearchParams([...data].map(([name, value]) => [name, String(value)]));
}

export class Outbox {
  /**
   * @param {object} how
   * @param {string} how.learner whose page this is
   * @param {Pick<Storage, "getItem" | "setItem">} how.storage
   * @param {(url: string, body: string) => Promise<Pick<Response, "status" | "text">>} how.send
   */
  constructor({ learner, storage, send }) {
    this.learner = learner;
    this.storage = storage;
    this.send = send;
  }

  /** @returns {Kept[]} */
  all() {
    try {
      const kept = JSON.parse(this.storage.getItem(PLACE) ?? "[]");
      return Array.isArray(kept) ? kept : [];
    } catch {
      return [];
    }
  }

  own() {
    return this.all().filter((one) => one.learner === this.learner);
  }

  /**
   * Keep an answer; one that was kept for the same case before gives way to it. Says whether it could be kept.
   * @param {string} url
   * @param {string} body
   */
  put(url, body) {
    return this.#keep([...this.all().filter((one) => one.url !== url), { learner: this.learner, url, body, at: Date.now() }]);
  }

  /**
   * Send one; says {status, go, text} once it is settled, {status} while it has to wait (0: no connection).
   * How long it was held is said with it: what arrives late may have been written in time.
   * @param {Pick<Kept, "url" | "body" | "at">} one
   * @returns {Promise<Outcome>}
   */
  async sendOne({ url, body, at = Date.now() }) {
    let answer;
    let text;
    const held = Math.max(0, Math.round((Date.now() - at) / 1000));
    try {
      answer = await this.send(url, held ? `${body}&held=${held}` : body);
      text = await answer.text();
    } catch {
      return { status: 0 };
    }
    const told = read(text);
    // Another page in place of the answer, as a network's own sign-in gives, must not pass for one.
    if (answer.status < 300 && !told.outcome) return { status: 0 };
    if (!SETTLED.includes(answer.status)) return { status: answer.status };
    this.#keep(this.all().filter((one) => one.url !== url || one.learner !== this.learner));
    return { status: answer.status, go: told.go, text };
  }

  /** Keep nothing of this learner's any more. */
  forget() {
    return this.#keep(this.all().filter((one) => one.learner !== this.learner));
  }

  /** Send all of this learner's; says how many were taken and how many still wait. */
  async flush() {
    let taken = 0;
    for (const one of this.own()) {
      const { status } = await this.sendOne(one);
      if (status === 200 || status === 201) taken += 1;
      if (!SETTLED.includes(status)) break;
    }
    return { taken, waiting: this.own().length };
  }

  /** @param {Kept[]} list */
  #keep(list) {
    try {
      this.storage.setItem(PLACE, JSON.stringify(list));
      return true;
    } catch {
      return false;
    }
  }
}
