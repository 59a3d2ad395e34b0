// @ts-check
// One frame of the bench on a canvas: the streak on the face and the reflex in the pupil. What light goes where is
// reflex.js's; how it looks is decided here and in bench-face.js. Reads the state and changes nothing.

import { brightness, light } from "../reflex.js";
import { entering, halfOnFace } from "./bench-state.js";
import { DIAL_MM, HALF_VIEW_MM, faceLayers } from "./bench-face.js";

/** @typedef {import("./bench-state.js").Bench} Bench */
/** @typedef {import("../reflex.js").Setting} Setting */

/** The reflex is soft, so that it need not be drawn as finely as the face: points across the pupil, at most. */
const FINEST = 96;
/** Layers of the streak on the face, widest first: share of its half-width, and how strongly each lights the face. */
const FALL = [1.62, 1.46, 1.32, 1.19, 1.07, 0.96, 0.86].map((share, step) => [share, 0.06 + 0.07 * step]);
/** From dark to the glow of a neutral pupil: [how bright, red, green, blue]. */
const GLOW = [
  [0, 8, 3, 3],
  [0.12, 52, 12, 6],
  [0.35, 142, 42, 14],
  [0.62, 222, 98, 36],
  [0.85, 255, 168, 84],
  [1, 255, 214, 150],
];
const SHADES = shades();

export class Drawing {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    this.canvas = canvas;
    this.ctx = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { alpha: false }));
    this.spot = document.createElement("canvas");
    this.made = "";
    this.dark = document.createElement("canvas");
    /** @type {CanvasPattern | string} */
    this.lit = "";
  }

  /** Fit the picture to the room that the page gives it; true when it has changed. */
  fit() {
    const size = Math.round(this.canvas.clientWidth * Math.min(2, window.devicePixelRatio || 1));
    if (!size || size === this.canvas.width) return false;
    this.canvas.width = this.canvas.height = size;
    return true;
  }

  /**
   * Device pixels to a millimetre: the nearer the examiner, the larger the eye, though less so than in life.
   * @param {Bench} bench
   */
  pxPerMm(bench) {
    return (this.canvas.width / (2 * HALF_VIEW_MM)) * Math.min(1.06, (67 / bench.distance_cm) ** 0.2);
  }

  /** @param {import("./bench-state.js").BenchState} state */
  draw(state) {
    const { bench, setting, faceMm } = state;
    const size = this.canvas.width;
    const scale = this.pxPerMm(bench);
    this.prepare(bench, scale);
    const { ctx } = this;
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.globalCompositeOperation = "source-over";
    ctx.drawImage(this.dark, 0, 0);
    this.streak(bench, setting, faceMm, scale);
    this.pupil(bench, setting, faceMm, scale, state.instrument.dim_at);
    this.corneal(bench, setting, faceMm, scale);
    this.sleeveMarks(bench, scale, size);
  }

  /**
   * @param {Bench} bench
   * @param {number} scale device pixels to a millimetre, here and below
   */
  prepare(bench, scale) {
    const axis = bench.cylinder ? bench.axis : null;
    const how = { size: this.canvas.width, pxPerMm: scale, pupilMm: bench.pupil_mm, axis, lens: bench.sphere !== 0 };
    const key = JSON.stringify(how);
    if (key === this.made) return;
    const { dark, lit } = faceLayers(how);
    this.dark = dark;
    // Filling with a pattern costs less than half of what drawing through a turned clip does.
    this.lit = this.ctx.createPattern(lit, "repeat") ?? "";
    this.made = key;
  }

  /**
   * The streak where it falls on face and frame: strips of the lit layer, laid over one another as they grow narrower.
   * @param {Bench} bench
   * @param {Setting} setting
   * @param {number} faceMm
   * @param {number} scale
   */
  streak(bench, setting, faceMm, scale) {
    const { ctx } = this;
    const half = halfOnFace(setting) * scale;
    const middle = this.canvas.width / 2;
    const turn = (bench.streak * Math.PI) / 180;
    const [along, up] = [Math.cos(turn), -Math.sin(turn)];
    /**
     * @param {number} x
     * @param {number} y
     * @returns {[number, number]}
     */
    const at = (x, y) => [middle + x * along - y * up, middle + x * up + y * along];
    ctx.fillStyle = this.lit;
    for (const [share, alpha] of FALL) {
      const [low, high] = [-faceMm * scale - half * share, -faceMm * scale + half * share];
      ctx.globalAlpha = alpha;
      ctx.beginPath();
      ctx.moveTo(...at(-1.5 * middle, low));
      ctx.lineTo(...at(1.5 * middle, low));
      ctx.lineTo(...at(1.5 * middle, high));
      ctx.lineTo(...at(-1.5 * middle, high));
      ctx.fill();
    }
    ctx.globalAlpha = 1;
  }

  /**
   * The reflex, point by point.
   * @param {Bench} bench
   * @param {Setting} setting
   * @param {number} faceMm
   * @param {number} scale
   * @param {number} dimAt D
   */
  pupil(bench, setting, faceMm, scale, dimAt) {
    const { ctx, spot } = this;
    const across = bench.pupil_mm * scale;
    const fine = Math.max(24, Math.min(FINEST, Math.round(across)));
    if (spot.width !== fine) spot.width = spot.height = fine;
    const inner = /** @type {CanvasRenderingContext2D} */ (spot.getContext("2d"));
    const image = inner.createImageData(fine, fine);
    const at = light(setting, bench.streak, faceMm);
    const strength = entering(setting, faceMm);
    const glow = (0.25 + 0.75 * brightness(setting, bench.streak, dimAt)) * strength;
    const step = bench.pupil_mm / fine;
    const rim = fine / 2;
    const { data } = image;
    for (let row = 0; row < fine; row += 1) {
      const y = (rim - row - 0.5) * step;
      for (let column = 0; column < fine; column += 1) {
        const x = (column + 0.5 - rim) * step;
        const within = rim - Math.sqrt((column + 0.5 - rim) ** 2 + (row + 0.5 - rim) ** 2);
        if (within <= 0) continue;
        const shade = 3 * Math.round(255 * (0.035 * strength + 0.965 * glow * at(x, y)));
        const place = 4 * (row * fine + column);
        data[place] = SHADES[shade];
        data[place + 1] = SHADES[shade + 1];
        data[place + 2] = SHADES[shade + 2];
        data[place + 3] = within < 1.5 ? 170 * within : 255;
      }
    }
    inner.putImageData(image, 0, 0);
    ctx.drawImage(spot, this.canvas.width / 2 - across / 2, this.canvas.width / 2 - across / 2, across, across);
  }

  /**
   * The bright mark that the lamp leaves on the cornea, which hardly moves.
   * @param {Bench} bench
   * @param {Setting} setting
   * @param {number} faceMm
   * @param {number} scale
   */
  corneal(bench, setting, faceMm, scale) {
    const half = halfOnFace(setting);
    const seen = Math.min(1, Math.max(0, (half + 1.2 - Math.abs(faceMm)) / 1.4));
    if (!seen) return;
    const { ctx } = this;
    const middle = this.canvas.width / 2;
    const lean = (bench.streak * Math.PI) / 180;
    ctx.save();
    ctx.translate(middle + 0.2 * scale, middle - 0.25 * scale);
    ctx.rotate(-lean);
    ctx.translate(0, -0.06 * faceMm * scale);
    ctx.globalAlpha = 0.85 * seen;
    ctx.fillStyle = "#fff6e6";
    ctx.beginPath();
    ctx.ellipse(0, 0, 0.42 * scale, 0.13 * scale, 0, 0, 2 * Math.PI);
    ctx.fill();
    ctx.restore();
  }

  /**
   * Two marks outside the dial that tell how the streak lies even where it falls beside the eye.
   * @param {Bench} bench
   * @param {number} scale
   * @param {number} size width of the picture in device pixels
   */
  sleeveMarks(bench, scale, size) {
    const { ctx } = this;
    ctx.save();
    ctx.translate(size / 2, size / 2);
    ctx.rotate((-bench.streak * Math.PI) / 180);
    ctx.fillStyle = "#ffce9a";
    for (const side of [1, -1]) {
      ctx.beginPath();
      ctx.moveTo(side * DIAL_MM * scale, 0);
      ctx.lineTo(side * (DIAL_MM + 1.1) * scale, 0.55 * scale);
      ctx.lineTo(side * (DIAL_MM + 1.1) * scale, -0.55 * scale);
      ctx.fill();
    }
    ctx.restore();
  }
}

function shades() {
  const out = new Uint8ClampedArray(3 * 256);
  for (let level = 0; level < 256; level += 1) {
    const value = level / 255;
    const upper = Math.max(1, GLOW.findIndex(([at]) => at >= value));
    const [from, to] = [GLOW[upper - 1], GLOW[upper]];
    const part = (value - from[0]) / (to[0] - from[0]);
    for (let colour = 1; colour <= 3; colour += 1) {
      out[3 * level + colour - 1] = from[colour] + part * (to[colour] - from[colour]);
    }
  }
  return out;
}
