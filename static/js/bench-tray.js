// @ts-check
// What the hand reaches in the page: tray and engraving, sleeve, tape and arc. All of it is the state's.

import { power } from "./bench-form.js";

export class Tray {
  /**
   * @param {HTMLElement} root
   * @param {import("./bench-state.js").BenchState} state
   */
  constructor(root, state) {
    this.root = root;
    this.state = state;
    /** @type {NodeListOf<HTMLButtonElement>} */
    this.lenses = root.querySelectorAll("[data-lens]");
    /** @type {NodeListOf<HTMLInputElement>} */
    this.ranges = root.querySelectorAll("[data-range]");
    this.engraved = /** @type {HTMLElement} */ (root.querySelector("#bench-engraved"));
    for (const lens of this.lenses) lens.addEventListener("click", () => this.put(lens));
    for (const range of this.ranges) range.addEventListener("input", () => state.set(range.dataset.range ?? "", Number(range.value)));
    this.dragged();
    state.onChange(() => this.shown());
    this.shown();
  }

  /** @param {HTMLElement} lens */
  put(lens) {
    this.state.tray(lens.dataset.lens === "cylinder" ? "cylinder" : "sphere", Number(lens.dataset.power));
  }

  /** A lens may be dragged into the frame as well as pressed. */
  dragged() {
    const stage = this.root.querySelector("#bench-stage");
    for (const lens of this.lenses) {
      lens.draggable = true;
      lens.addEventListener("dragstart", (event) => event.dataTransfer?.setData("text/lens", `${lens.dataset.lens}:${lens.dataset.power}`));
    }
    stage?.addEventListener("dragover", (event) => event.preventDefault());
    stage?.addEventListener("drop", (event) => {
      event.preventDefault();
      const asked = /** @type {DragEvent} */ (event).dataTransfer?.getData("text/lens") ?? "";
      for (const lens of this.lenses) if (`${lens.dataset.lens}:${lens.dataset.power}` === asked) this.put(lens);
    });
  }

  shown() {
    const { state } = this;
    const held = { sphere: state.inFrame("sphere"), cylinder: state.inFrame("cylinder") };
    for (const lens of this.lenses) {
      const kind = lens.dataset.lens === "cylinder" ? "cylinder" : "sphere";
      lens.setAttribute("aria-pressed", String(held[kind].includes(Number(lens.dataset.power))));
    }
    const spheres = held.sphere.map(power).join(" and ");
    const cylinders = held.cylinder.map((one) => `${power(one)} cyl`).join(" and ");
    this.engraved.textContent = [spheres, cylinders].filter(Boolean).join(", ") || "no lens";
    for (const range of this.ranges) {
      const name = range.dataset.range ?? "";
      const value = name === "sleeve" ? state.bench.sleeve : name === "streak" ? state.bench.streak : state.bench.distance_cm;
      range.value = String(value);
      const words = this.words(name, value);
      range.setAttribute("aria-valuetext", words);
      const beside = name === "sleeve" ? range.parentElement?.querySelector("small") : null;
      if (beside) beside.textContent = words;
    }
  }

  /**
   * How a slider is read out: the sleeve has no dioptres.
   * @param {string} name
   * @param {number} value
   */
  words(name, value) {
    if (name === "streak") return `streak at ${value}`;
    if (name === "distance_cm") return `${value} centimetres`;
    const spread = 1 - (this.state.bench.distance_cm / 100) * value;
    if (Math.abs(spread) < 0.12) return "a line on the face";
    if (spread < 0) return "crossed";
    return value < -0.3 ? "broad" : value > 0.3 ? "narrowing" : "even";
  }
}
