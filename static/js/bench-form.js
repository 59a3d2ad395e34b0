// @ts-check
// The form beside the picture: its fields are the state's, both ways; with numbers where the page shows them.

import { residual } from "../reflex.js";
import { valueOf } from "./bench-state.js";

/** What is one of a few words: radio buttons. */
const PICKS = ["filament", "unrest", "target"];

export class Form {
  /**
   * @param {HTMLElement} root
   * @param {import("./bench-state.js").BenchState} state
   */
  constructor(root, state) {
    this.root = root;
    this.state = state;
    this.form = /** @type {HTMLFormElement} */ (root.querySelector("form"));
    /** @type {HTMLInputElement[]} */
    this.dials = [.../** @type {NodeListOf<HTMLInputElement>} */ (this.form.querySelectorAll("input[data-step]"))];
    this.listen();
    // A browser may bring back what was set before a reload.
    for (const dial of this.dials) this.typed(dial);
    state.onChange(() => this.shown());
    this.shown();
  }

  listen() {
    this.form.addEventListener("input", (event) => {
      const field = /** @type {HTMLInputElement} */ (event.target);
      if (this.dials.includes(field)) this.typed(field);
      else if (PICKS.includes(field.name)) this.state.set(field.name, field.value);
    });
    this.form.addEventListener("change", (event) => {
      this.told(/** @type {HTMLInputElement} */ (event.target));
      this.shown(true);
    });
    this.form.addEventListener("keydown", (event) => {
      const field = /** @type {HTMLInputElement} */ (event.target);
      const way = event.key === "ArrowUp" ? 1 : event.key === "ArrowDown" ? -1 : 0;
      if (!way || !this.dials.includes(field)) return;
      event.preventDefault();
      this.nudge(field.name, way * Number(field.dataset.step));
    });
    this.form.addEventListener("click", (event) => {
      const button = /** @type {HTMLElement} */ (event.target).closest("[data-nudge]");
      if (button instanceof HTMLElement) this.nudge(button.dataset.nudge ?? "", Number(button.dataset.by));
    });
    this.form.addEventListener("submit", (event) => {
      if (this.root.classList.contains("moving")) event.preventDefault();
    });
    for (const radio of this.views()) radio.addEventListener("change", () => this.state.show(Number(radio.value)));
  }

  /** @returns {NodeListOf<HTMLInputElement>} */
  views() {
    return this.root.querySelectorAll("input[name=bench-view]");
  }

  /** @param {HTMLInputElement} field */
  typed(field) {
    const value = read(field);
    if (value !== null) this.state.set(field.name, value);
  }

  /** Say why what was typed does not stand: it gives way to what stood there before. @param {HTMLInputElement} field */
  told(field) {
    if (!this.dials.includes(field) || field.value.trim() === "" || read(field) !== null) return;
    const { low, high } = field.dataset;
    const label = field.labels?.[0]?.firstChild?.textContent?.trim();
    const limits = `${Number(low)} to ${Number(high)}`.replaceAll("-", "−");
    byId("bench-said").textContent = `${label} “${field.value.trim()}”: give ${limits}.`;
  }

  /**
   * @param {string} name
   * @param {number} by
   */
  nudge(name, by) {
    this.state.nudge(name, by);
    this.shown(true);
  }

  /** @param {number} which */
  show(which) {
    this.state.show(which);
    const radio = this.views()[this.state.shown];
    if (radio) radio.checked = true;
  }

  /** What the server needs to say what is seen here. */
  query() {
    const query = new URLSearchParams({ view: String(this.state.shown) });
    for (const { name } of this.dials) query.set(name, String(this.value(name)));
    for (const name of PICKS) if (this.form.querySelector(`input[name=${name}]`)) query.set(name, String(this.value(name)));
    return query;
  }

  /** @param {string} name */
  value(name) {
    return valueOf(this.state.bench, name);
  }

  /** Put the state into the fields; the one being typed in is left alone until it is left. */
  shown(all = false) {
    for (const dial of this.dials) {
      if (all || dial !== document.activeElement) dial.value = written(dial, Number(this.value(dial.name)));
    }
    for (const name of PICKS) {
      const radio = this.form.querySelector(`input[name=${name}][value="${this.value(name)}"]`);
      if (radio instanceof HTMLInputElement) radio.checked = true;
    }
    for (const [key, words] of Object.entries(this.numbers())) {
      const place = this.form.querySelector(`[data-number=${key}]`);
      if (place && place.textContent !== words) place.textContent = words;
    }
  }

  numbers() {
    const { setting, bench } = this.state;
    return { residual: `${power(residual(setting, bench.streak))} D` };
  }
}

/**
 * An element that every page with a bench has.
 * @param {string} id
 */
function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/**
 * Read a number as the server does: with a point or a comma, and with either minus; null where there is none in reach.
 * @param {HTMLInputElement} field
 */
function read(field) {
  const text = field.value.trim().replace("−", "-").replace(",", ".");
  const value = /^[+-]?(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : NaN;
  return value >= Number(field.dataset.low) && value <= Number(field.dataset.high) ? value : null;
}

/**
 * Write what a dial is set to, as the server does: a power with its sign and two decimals, or more where it was typed so.
 * @param {HTMLInputElement} dial
 * @param {number} value
 */
function written(dial, value) {
  if (dial.dataset.unit !== "D") return String(value);
  const finer = Math.abs(value) === Number(Math.abs(value).toFixed(2)) ? null : String(Math.abs(value));
  return finer === null ? power(value) : `${value < 0 ? "−" : "+"}${finer}`;
}

/**
 * Write a power as cases/notation/prescription.py does: with two decimals, and an eighth in full.
 * @param {number} value
 */
export function power(value) {
  const hundredths = Number((Math.abs(value) * 100).toFixed(7));
  const eighth = hundredths % 12.5 === 0 && hundredths % 25 !== 0;
  const size = eighth ? (hundredths / 100).toFixed(3) : (Math.ceil(hundredths - 0.5) / 100).toFixed(2);
  return size === "0.00" ? size : `${value < 0 ? "−" : "+"}${size}`;
}
