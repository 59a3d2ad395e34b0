// @ts-check
// What stands in the way of the light, drawn in the pupil: opacities, a ring, a smear, glints of an implant, a pale
// reflex. Places and sizes are examples: no published source.

import { faceLight } from "../../reflex.js";
import { Drawing } from "../bench-drawing.js";
import { STILL } from "../bench-life.js";

/** @typedef {import("../../reflex.js").Streaked} Streaked */
/** @typedef {import("../bench-life.js").Life} Life */
/** @typedef {import("../bench-state.js").Bench & {media?: string[]}} Bench with what is in the way of its light */

/** Grey of a pale reflex, of 255, where the beam falls on it: it comes back wherever the streak lies. */
const PALE = 250;
/** Light on the face, mm², in which it is fully lit. */
const FULL_MM2 = 7.5;


/** How much of the light passes at a place of the pupil, mm from its centre; `rho` its radius. @typedef {(x: number, y: number, rho: number, seconds: number) => number} Passing */

/** @type {Record<string, Passing>} */
const PASSING = {
  "nuclear opacity": (x, y, rho) => {
    const r = Math.hypot(x, y) / rho;
    return r < 0.46 ? 0.72 : 1 - 0.78 * bump((r - 0.53) / 0.1);
  },
  "cortical opacity": (x, y, rho) => {
    const [r, turn] = [Math.hypot(x, y) / rho, Math.atan2(y, x)];
    // Spokes of unequal length and breadth, from the edge inwards.
    const spoke = [[0.6, 0.3, 0.16], [1.7, 0.55, 0.1], [2.9, 0.42, 0.2], [4.1, 0.62, 0.12], [5.3, 0.35, 0.15]].some(
      ([at, inner, wide]) => r > inner && Math.abs(around(turn - at)) < (wide * (r - inner)) / (1 - inner) + 0.02,
    );
    return spoke ? 0.12 : 1;
  },
  "subcapsular opacity": (x, y, rho) => {
    const r = Math.hypot(x - 0.06 * rho, y + 0.05 * rho) / rho + 0.05 * Math.sin(5 * Math.atan2(y, x));
    return r < 0.32 ? 0.1 : r < 0.4 ? 0.1 + (0.9 * (r - 0.32)) / 0.08 : 1;
  },
  "artificial lens": (x, y, rho) => (Math.hypot(x, y) > Math.min(0.85 * rho, 2.4) ? 0.45 : 1),
  "corneal surgery": (x, y, rho) => 1 - 0.55 * bump((Math.hypot(x, y) / rho - 0.78) / 0.06),
  "tear film": (x, y, rho, seconds) => {
    // It thickens for five seconds, slides down, and a blink wipes it.
    const since = seconds % 5;
    const at = y / rho + 0.12 * since;
    const smear = Math.sin(7 * at + 1.7 * Math.sin((2.2 * x) / rho)) * Math.sin(3.1 * at + (1.3 * x) / rho);
    return 1 - Math.min(1, since / 1.5) * 0.6 * Math.max(0, smear);
  },
  scar: (x, y, rho) => (patch(x, y, rho) < 1 ? 0.2 : 1),
};

/** A picture of the bench with what is in the way of the light. */
export class EyeDrawing extends Drawing {
  /** @type {string[]} */
  media = [];
  /** The moment, for what slides by itself, s. */
  seconds = 2;

  /**
   * @param {import("../bench-state.js").BenchState} state
   * @param {{moving?: boolean, life?: Life, faceMm?: number}} [how]
   */
  draw(state, how = {}) {
    this.media = /** @type {Bench} */ (state.bench).media ?? [];
    super.draw(state, how);
  }

  /**
   * @param {Streaked} setting
   * @param {number} faceMm
   * @param {boolean} moving
   * @param {Life} life
   */
  pupil(setting, faceMm, moving, life) {
    super.pupil(setting, faceMm, moving, life);
    this.ctx.save();
    this.ctx.translate(life.pupilX, 0);
    patches(this.ctx, this.media, (setting.pupil_mm ?? 5) / 2, litAt(setting, faceMm));
    this.ctx.restore();
  }

  /**
   * @param {Float32Array} values mm²
   * @param {number} size
   * @param {Streaked} setting
   * @param {number} faceMm
   */
  colour(values, size, setting, faceMm) {
    const [pale, none] = [this.media.includes("white reflex"), this.media.includes("no reflex")];
    if (!pale && !none) {
      clouded(this.media, setting.pupil_mm ?? 5, size, this.seconds, values);
      super.colour(values, size, setting, faceMm);
      return;
    }
    const grey = none ? 6 : Math.round(PALE * litAt(setting, faceMm) ** 0.3);
    this.spot.width = this.spot.height = size;
    this.image = null;
    const inner = /** @type {CanvasRenderingContext2D} */ (this.spot.getContext("2d"));
    inner.fillStyle = `rgb(${grey}, ${Math.round(0.96 * grey)}, ${Math.round(0.88 * grey)})`;
    inner.fillRect(0, 0, size, size);
  }

  /**
   * @param {Streaked} setting
   * @param {number} faceMm
   * @param {Life} life
   */
  mark(setting, faceMm, life = STILL) {
    super.mark(setting, faceMm, life);
    const along = -Math.sin((setting.streak * Math.PI) / 180) * faceMm;
    glints(this.ctx, this.media, (setting.pupil_mm ?? 5) / 2, along, litAt(setting, faceMm));
  }
}

/** The share of the lamp that falls on the pupil's centre. @param {Streaked} setting @param {number} faceMm */
function litAt(setting, faceMm) {
  return Math.min(1, faceLight(setting, faceMm)(0, 0) / FULL_MM2);
}

/**
 * Take from the light at each point what stands in its way.
 * @param {string[]} media
 * @param {number} pupil mm
 * @param {number} size points across
 * @param {number} seconds
 * @param {Float32Array} into
 */
function clouded(media, pupil, size, seconds, into) {
  const laws = media.filter((one) => one in PASSING).map((one) => PASSING[one]);
  if (!laws.length) return;
  const [rho, step] = [pupil / 2, pupil / size];
  for (let row = 0; row < size; row += 1) {
    for (let column = 0; column < size; column += 1) {
      for (const law of laws) into[row * size + column] *= law((column + 0.5) * step - rho, rho - (row + 0.5) * step, rho, seconds);
    }
  }
}

/**
 * What sends light back itself: the grey of a scar.
 * @param {CanvasRenderingContext2D} ctx in mm about the pupil's centre, y up
 * @param {string[]} media
 * @param {number} rho
 * @param {number} lit share of the beam on the pupil
 */
function patches(ctx, media, rho, lit) {
  if (!media.includes("scar")) return;
  ctx.fillStyle = `rgba(186, 182, 172, ${0.15 + 0.55 * lit})`;
  ctx.beginPath();
  ctx.ellipse(SCAR.x * rho, SCAR.y * rho, SCAR.a * rho, SCAR.b * rho, 0, 0, 2 * Math.PI);
  ctx.fill();
}

/**
 * Two glints of an artificial lens, which run with the lamp.
 * @param {CanvasRenderingContext2D} ctx in mm, y up
 * @param {string[]} media
 * @param {number} rho
 * @param {number} lampMm where the beam has gone to the right
 * @param {number} lit
 */
function glints(ctx, media, rho, lampMm, lit) {
  if (!media.includes("artificial lens")) return;
  ctx.globalCompositeOperation = "lighter";
  for (const [x, y, way] of [[-0.42, 0.3, 0.1], [0.3, -0.42, -0.07]]) {
    const [px, py] = [x * rho + way * lampMm, y * rho];
    const glow = ctx.createRadialGradient(px, py, 0, px, py, 0.34);
    glow.addColorStop(0, `rgba(255, 252, 240, ${0.95 * Math.sqrt(lit)})`);
    glow.addColorStop(0.45, `rgba(235, 238, 255, ${0.5 * Math.sqrt(lit)})`);
    glow.addColorStop(1, "rgba(220, 226, 255, 0)");
    ctx.fillStyle = glow;
    ctx.fillRect(px - 0.34, py - 0.34, 0.68, 0.68);
  }
  ctx.globalCompositeOperation = "source-over";
}

const SCAR = { x: 0.35, y: -0.3, a: 0.34, b: 0.22 };

/** Below 1 inside the scar. @param {number} x @param {number} y @param {number} rho */
function patch(x, y, rho) {
  return Math.hypot((x / rho - SCAR.x) / SCAR.a, (y / rho - SCAR.y) / SCAR.b);
}

/** From 1 at 0 to nothing at ±1. @param {number} z */
function bump(z) {
  return Math.abs(z) < 1 ? (1 + Math.cos(Math.PI * z)) / 2 : 0;
}

/** An angle from −π to π. @param {number} turn */
function around(turn) {
  return turn - 2 * Math.PI * Math.round(turn / (2 * Math.PI));
}
