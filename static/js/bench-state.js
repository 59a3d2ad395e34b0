// @ts-check
// What is set at the bench, and what may be done to it. No DOM, no clock: names, signs and units as in cases/curriculum/bench_stage.py.

import { axisOf } from "../reflex.js";

/** @typedef {import("../reflex.js").Setting} Setting */
/** @typedef {import("../reflex.js").SphCyl} SphCyl */

/**
 * @typedef {object} Bench
 * @property {SphCyl} eye the lens that corrects the eye
 * @property {number} sphere D in place
 * @property {number} cylinder D in place
 * @property {number} axis degrees
 * @property {number} streak degrees, its long direction
 * @property {number} distance_cm
 * @property {string} sleeve "diverging", "parallel" or "converging"
 * @property {number} pupil_mm
 * @property {number} margin D that the edge of the pupil wants more than its centre
 * @property {number} off_h degrees off the visual axis, to the examiner's right
 * @property {number} off_v the same, up
 */

/**
 * What the bench's own instrument is and what a hand may set there: the core's numbers, which come with the page.
 * @typedef {object} Instrument
 * @property {number} sight_hole_mm
 * @property {number} filament_mrad
 * @property {Record<string, number>} sleeves the sleeve in D, by its names
 * @property {number} oblique_per_deg2
 * @property {number} neutral_zone D
 * @property {number} dim_at D
 * @property {Record<string, [number, number]>} limits least and most of what may be set
 */

/** How far from the centre of the pupil the streak can be swept, in mm. */
export const REACH_MM = 16;

/** Half the width of the beam at the mirror, in mm: with the sleeve it sets how broad the streak is on the face. */
const BEAM_MM = 1.5;

/**
 * What the optics need, as `Bench.setting` in cases/curriculum/bench_stage.py has it.
 * @param {Bench} bench
 * @param {Instrument} instrument
 * @returns {Setting}
 */
export function settingOf(bench, instrument) {
  return {
    rx: bench.eye,
    in_place: { sphere: bench.sphere, cylinder: bench.cylinder, axis: bench.axis },
    distance_cm: bench.distance_cm,
    pupil_mm: bench.pupil_mm,
    sight_hole_mm: instrument.sight_hole_mm,
    sleeve: instrument.sleeves[bench.sleeve],
    filament_mrad: instrument.filament_mrad,
    margin_per_mm2: bench.margin / (bench.pupil_mm / 2) ** 2,
    off_axis_h: bench.off_h,
    off_axis_v: bench.off_v,
    oblique_per_deg2: instrument.oblique_per_deg2,
  };
}

/**
 * Half the width of the streak where it falls on the face, in mm.
 * @param {Setting} setting
 */
export function halfOnFace({ sleeve = 0, distance_cm, filament_mrad = 1 }) {
  const spread = Math.abs(1 - (distance_cm * sleeve) / 100);
  return 1.2 + Math.max(0.4, BEAM_MM * spread) + filament_mrad * distance_cm * 0.01;
}

/**
 * How much of the streak's light still enters the pupil when its middle lies `faceMm` from the pupil's centre, 0 to 1.
 * A drawing law: the beam has no sharp edge, so it fades over 4 mm.
 * @param {Setting} setting
 * @param {number} faceMm
 */
export function entering(setting, faceMm) {
  const gone = (setting.pupil_mm ?? 5) / 2 + halfOnFace(setting) + 4 - Math.abs(faceMm);
  const part = Math.min(1, Math.max(0, gone / 4));
  return part * part * (3 - 2 * part);
}

/** The bench with its views; tells whoever listens when anything but the sweep has changed. */
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
function put(bench, name, value, { limits, sleeves }) {
  const held = limits[name];
  if (name === "sleeve") {
    if (value in sleeves) bench.sleeve = String(value);
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
