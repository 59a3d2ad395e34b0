// @ts-check
// What is set at the bench, and what may be done to it. No DOM, no clock: names, signs and units as in cases/curriculum/bench_stage.py.

import { axisOf } from "../reflex.js";

const RADIAN = Math.PI / 180;

/** @typedef {import("../reflex.js").Streaked} Streaked */
/** @typedef {import("../reflex.js").SphCyl} SphCyl */

/**
 * @typedef {object} Bench
 * @property {SphCyl} eye the lens that corrects the eye
 * @property {number} sphere D in place
 * @property {number} cylinder D in place
 * @property {number} axis degrees
 * @property {number} streak degrees, its long direction
 * @property {number} distance_cm
 * @property {number} sleeve vergence of the beam, D
 * @property {"streak" | "spot"} filament
 * @property {number} pupil_mm
 * @property {number} margin D that the edge of the pupil needs more than its centre
 * @property {number} off_h degrees off the visual axis, to the examiner's right
 * @property {number} off_v the same, up
 * @property {number} coma D per mm along 180
 * @property {number} coma_v D per mm along 90
 * @property {number} cone D of a cone below the centre
 * @property {number} haze share of the light that the media scatter
 * @property {string} unrest what the eye does by itself: "none", "alive", "wavering", "jerk" or "pendular"
 * @property {string} target what the eye looks at: "far" or "near", beside the sight hole
 */

/**
 * What the bench's own instrument is and what a hand may set there: the core's numbers, which come with the page.
 * @typedef {object} Instrument
 * @property {number} sight_hole_mm
 * @property {number} beam_mm
 * @property {number} filament_mrad
 * @property {number} spot_mrad
 * @property {number} cone_below_mm
 * @property {number} cone_spread_mm
 * @property {number} near_lag D by which an eye stays behind a near target
 * @property {number} most_accommodation D
 * @property {number} oblique_per_deg2
 * @property {number} neutral_zone D
 * @property {Record<string, [number, number]>} limits least and most of what may be set
 */

/** How far from the centre of the pupil the streak can be swept, in mm. */
export const REACH_MM = 16;

/** Powers in the tray, in D: spheres of either sign, and minus cylinders. */
export const SPHERES = [0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2, 2.5, 3, 4, 5, 6, 8, 10];
export const CYLINDERS = [0.25, 0.5, 0.75, 1, 1.5, 2, 3];

/** Quantities that are one of a few words. @type {Record<string, string[]>} */
const WORDS = { filament: ["streak", "spot"], unrest: ["none", "alive", "wavering", "jerk", "pendular"], target: ["far", "near"] };

/**
 * What the optics need, as `Bench.setting` in cases/curriculum/bench_stage.py has it, with the streak.
 * @param {Bench} bench
 * @param {Instrument} instrument
 * @returns {Streaked}
 */
export function settingOf(bench, instrument) {
  const { cone_below_mm, cone_spread_mm } = instrument;
  return {
    rx: { ...bench.eye, sphere: bench.eye.sphere - accommodated(bench, instrument) },
    in_place: { sphere: bench.sphere, cylinder: bench.cylinder, axis: bench.axis },
    distance_cm: bench.distance_cm,
    pupil_mm: bench.pupil_mm,
    sight_hole_mm: instrument.sight_hole_mm,
    sleeve: bench.sleeve,
    beam_mm: instrument.beam_mm,
    filament: bench.filament,
    filament_mrad: bench.filament === "spot" ? instrument.spot_mrad : instrument.filament_mrad,
    margin_per_mm2: bench.margin / (bench.pupil_mm / 2) ** 2,
    coma: [bench.coma, bench.coma_v],
    cone: bench.cone ? { x: 0, y: -cone_below_mm, power: bench.cone, spread_mm: cone_spread_mm } : null,
    haze: bench.haze,
    off_axis_h: bench.off_h,
    off_axis_v: bench.off_v,
    oblique_per_deg2: instrument.oblique_per_deg2,
    streak: bench.streak,
  };
}

/**
 * What the eye puts in, D: for a near target what that asks for, less the usual lag.
 * @param {Bench} bench
 * @param {Instrument} instrument
 */
function accommodated(bench, { near_lag, most_accommodation }) {
  if (bench.target !== "near") return 0;
  const { eye } = bench;
  const asked = eye.sphere + eye.cylinder / 2 - bench.sphere - bench.cylinder / 2 + 100 / bench.distance_cm;
  return Math.min(Math.max(0, asked - near_lag), most_accommodation);
}

/**
 * The fewest lenses of the tray that make up a power, strongest first.
 * @param {number} power D
 * @param {number[]} tray sizes in D
 */
export function cells(power, tray) {
  const found = [];
  let left = Math.round(Math.abs(power) * 4) / 4;
  for (const size of [...tray].reverse()) {
    while (left >= size && found.length < 4) {
      found.push(Math.sign(power) * size);
      left -= size;
    }
  }
  return found;
}

/** The bench with its views; tells the person who listens when anything but the sweep has changed. */
export class BenchState {
  /**
   * @param {{name: string, bench: Bench}[]} views
   * @param {Instrument} instrument
   */
  constructor(views, instrument) {
    this.instrument = instrument;
    this.views = views.map(({ name, bench }) => ({ name, bench: { ...bench } }));
    this.shown = 0;
    /** Place of the streak across the pupil in mm, along the streak turned 90° anticlockwise. */
    this.faceMm = 0;
    /** Spheres and cylinders in the frame, D each. @type {{sphere: number[], cylinder: number[]}} */
    this.frame = { sphere: [], cylinder: [] };
    /** @type {(() => void)[]} */
    this.listeners = [];
  }

  get bench() {
    return this.views[this.shown].bench;
  }

  get setting() {
    return settingOf(this.bench, this.instrument);
  }

  /** @param {() => void} listener */
  onChange(listener) {
    this.listeners.push(listener);
  }

  /**
   * Set one quantity, held to its limits; it holds in every view.
   * @param {string} name
   * @param {number | string} value
   */
  set(name, value) {
    if (typeof value === "number" && !Number.isFinite(value)) return;
    for (const { bench } of this.views) put(bench, name, value, this.instrument);
    this.changed();
  }

  /**
   * @param {string} name
   * @param {number} by
   */
  nudge(name, by) {
    this.set(name, Math.round((Number(valueOf(this.bench, name)) + by) * 1000) / 1000);
  }

  /**
   * The lenses in the frame: those that were put there, or the fewest that make up a power that was set otherwise.
   * @param {"sphere" | "cylinder"} kind
   */
  inFrame(kind) {
    const kept = this.frame[kind];
    const sum = kept.reduce((all, one) => all + one, 0);
    if (Math.abs(sum - this.bench[kind]) > 1e-6) this.frame[kind] = cells(this.bench[kind], kind === "sphere" ? SPHERES : CYLINDERS);
    return this.frame[kind];
  }

  /**
   * Put a lens of the tray into the frame, or take it out again.
   * @param {"sphere" | "cylinder"} kind
   * @param {number} power D
   */
  tray(kind, power) {
    const kept = [...this.inFrame(kind)];
    const at = kept.indexOf(power);
    if (at >= 0) kept.splice(at, 1);
    else kept.push(power);
    this.frame[kind] = kept;
    if (kind === "cylinder" && !this.bench.cylinder) this.set("axis", this.bench.streak);
    this.set(kind, kept.reduce((all, one) => all + one, 0));
  }

  /** @param {number} which */
  show(which) {
    this.shown = ((which % this.views.length) + this.views.length) % this.views.length;
    this.changed();
  }

  /** @param {number} faceMm */
  sweepTo(faceMm) {
    this.faceMm = Math.min(REACH_MM, Math.max(-REACH_MM, faceMm));
  }

  changed() {
    for (const listener of this.listeners) listener();
  }
}

/**
 * Which way along its normal a streak moves when it is pushed to the right, or up where it lies level: 1 or −1.
 * @param {number} streak degrees
 */
export function rightward(streak) {
  const along = -Math.sin(streak * RADIAN);
  return Math.abs(along) < 0.05 ? Math.sign(Math.cos(streak * RADIAN)) : Math.sign(along);
}

/**
 * What a quantity of the form is set to.
 * @param {Bench} bench
 * @param {string} name
 * @returns {number | string}
 */
export function valueOf(bench, name) {
  /** @type {Record<string, any>} */
  const part = name.startsWith("eye_") ? bench.eye : bench;
  return part[name.replace(/^eye_/, "")];
}

/**
 * @param {Bench} bench
 * @param {string} name
 * @param {number | string} value
 * @param {Instrument} instrument
 */
function put(bench, name, value, { limits }) {
  const held = limits[name];
  if (name in WORDS) {
    if (WORDS[name].includes(String(value))) Object.assign(bench, { [name]: value });
  } else if (name === "streak" || name === "axis") {
    bench[name] = axisOf(Number(value));
  } else if (name === "eye_axis") {
    bench.eye = { ...bench.eye, axis: axisOf(Number(value)) };
  } else if (held) {
    const within = Math.min(held[1], Math.max(held[0], Number(value)));
    if (name.startsWith("eye_")) bench.eye = { ...bench.eye, [name.slice(4)]: within };
    else Object.assign(bench, { [name]: within });
  }
}
