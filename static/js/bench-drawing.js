// @ts-check
// One frame of the bench on a canvas: face, iris, corneal mark and pupil lit by one beam. What light goes where is
// reflex.js's; how it looks is decided here and in bench-face.js. Reads the state and changes nothing.

import { BENT_MOVING, beam, faceLight, field, irregular, lookOf } from "../reflex.js";
import { HALF_VIEW_MM, faceLayer, frameLayer } from "./bench-face.js";
import { STILL } from "./bench-life.js";
import { rightward } from "./bench-state.js";

/** @typedef {import("../reflex.js").Streaked} Streaked */
/** @typedef {import("./bench-life.js").Life} Life */

const RADIAN = Math.PI / 180;
/** Points across the pupil: at rest, and while the hand moves where light is summed over nodes. */
const FINE = 64;
const COARSE = 40;
/** Distance at which the picture has its own size, cm. */
const USUAL_CM = 67;
/** [√(light/10 mm²), red, green, blue]: blood and pigment take the blue, and the display ends before the eye does. */
const TONES = [
  [0, 0.035, 0.006, 0.004],
  [0.25, 0.45, 0.085, 0.025],
  [0.6, 0.93, 0.36, 0.11],
  [0.95, 1, 0.74, 0.42],
  [1.25, 1, 0.93, 0.76],
];
const SHADES = shades();
const SHADE_STEPS = 512;
/** What wholly hazy media add: grey where the beam falls on them, of 255, and light that lifts the dark, mm². Examples. */
const VEIL = 110;
const LIFTED = 0.12 * 2;
/** How much the fundus differs from place to place, and over what angle; examples, no published source. */
const MOTTLE = 0.06;
const BLOTCH_MRAD = 6;
const MRAD_PER_DEGREE = 1000 * RADIAN;
/** Stops of the beam's profile on the face. */
const STOPS = 48;
/** Light on the face, in shares of the lamp's lens, at which it is drawn fully bright. */
const FULL = 0.3;
const AMBIENT = 0.07;
/** Places of the streak in five stills, from our left to our right, or from below up where it lies level. */
const PLACES_MM = [-6, -3, 0, 3, 6];

export class Drawing {
  /**
   * @param {HTMLCanvasElement} canvas the picture
   * @param {HTMLCanvasElement | null} [rim] what lies over it: the trial frame
   */
  constructor(canvas, rim = null) {
    this.canvas = canvas;
    this.rim = rim;
    /** How many times as large as usual: a small picture shows the eye and little of the face. */
    this.zoom = 1;
    this.ctx = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { alpha: false }));
    this.spot = document.createElement("canvas");
    this.albedo = document.createElement("canvas");
    this.made = "";
    this.rimMade = "";
    /** The light of the setting at hand, made ready. @type {{key: string, lit: ReturnType<typeof beam>}} */
    this.ready = { key: "", lit: Object.assign(() => () => 0, { bare: () => () => 0 }) };
    this.values = new Float32Array(FINE * FINE);
    /** What the fundus returns at each point, about 1. */
    this.mottle = new Float32Array(FINE * FINE).fill(1);
    /** @type {ImageData | null} */
    this.image = null;
    this.pixels = new Uint32Array(0);
    this.veil = 0;
    this.inks = inks(0);
  }

  /** Fit the picture to the room that the page gives it; true when it has changed. */
  fit() {
    const { clientWidth, clientHeight } = this.canvas;
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    const [width, height] = [Math.round(clientWidth * ratio), Math.round(clientHeight * ratio)];
    if (!width || (width === this.canvas.width && height === this.canvas.height)) return false;
    for (const one of [this.canvas, this.rim]) if (one) [one.width, one.height] = [width, height];
    this.rimMade = "";
    return true;
  }

  /**
   * Device pixels to a millimetre: at half the distance the eye is twice as large, as in life.
   * @param {{distance_cm: number}} bench
   */
  pxPerMm(bench) {
    const usual = Math.min(this.canvas.height, this.canvas.width) / (2 * HALF_VIEW_MM);
    return this.zoom * usual * (USUAL_CM / bench.distance_cm);
  }

  /**
   * @param {import("./bench-state.js").BenchState} state
   * @param {{moving?: boolean, life?: Life, faceMm?: number}} [how]
   */
  draw(state, { moving = false, life = STILL, faceMm = state.faceMm } = {}) {
    const { bench } = state;
    const setting = alive(state.setting, life);
    const scale = this.pxPerMm(bench);
    const { ctx, canvas } = this;
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.globalCompositeOperation = "source-over";
    this.face(setting, faceMm, scale, life);
    ctx.setTransform(scale, 0, 0, -scale, canvas.width / 2, canvas.height / 2);
    if (!life.shut) {
      this.pupil(setting, faceMm - across(setting.streak) * life.pupilX, moving, life);
      this.mark(setting, faceMm, life);
    }
    this.frame(bench, scale);
  }

  /**
   * What the beam lights: one picture of the face, multiplied by the beam's profile.
   * @param {Streaked} setting
   * @param {number} faceMm
   * @param {number} scale device pixels to a millimetre
   * @param {Life} life
   */
  face(setting, faceMm, scale, life) {
    const { ctx, canvas } = this;
    const { width, height } = canvas;
    const own = this.pxPerMm({ distance_cm: USUAL_CM });
    const key = `${width} ${height} ${life.shut}`;
    if (key !== this.made) {
      this.albedo = faceLayer({ width, height, pxPerMm: own, shut: life.shut });
      this.made = key;
    }
    const n = { x: -Math.sin(setting.streak * RADIAN), y: Math.cos(setting.streak * RADIAN) };
    const reach = Math.hypot(width, height) / 2 / scale;
    const at = faceLight(setting, faceMm);
    const full = (setting.beam_mm ?? 5) ** 2;
    const [cx, cy] = [width / 2, height / 2];
    let light;
    if (setting.filament === "spot") {
      light = ctx.createRadialGradient(
        cx + n.x * faceMm * scale, cy - n.y * faceMm * scale, 0,
        cx + n.x * faceMm * scale, cy - n.y * faceMm * scale, reach * scale,
      );
      for (let stop = 0; stop <= STOPS; stop += 1) {
        const r = (reach * stop) / STOPS;
        light.addColorStop(stop / STOPS, grey(at(n.x * (faceMm + r), n.y * (faceMm + r)) / full));
      }
    } else {
      light = ctx.createLinearGradient(
        cx - n.x * reach * scale, cy + n.y * reach * scale, cx + n.x * reach * scale, cy - n.y * reach * scale,
      );
      // Most of the stops where the streak is: a sharp line must not fall between two.
      const half = Math.abs(1 - (setting.distance_cm / 100) * (setting.sleeve ?? 0)) * (setting.beam_mm ?? 5) + (setting.distance_cm / 100) * (setting.filament_mrad ?? 1);
      for (let stop = 0; stop <= STOPS; stop += 1) {
        const s = faceMm + 1.02 * half * ((2 * stop) / STOPS - 1);
        const place = (s + reach) / (2 * reach);
        if (place >= 0 && place <= 1) light.addColorStop(place, grey(at(n.x * s, n.y * s) / full));
      }
    }
    ctx.fillStyle = light;
    ctx.fillRect(0, 0, width, height);
    ctx.globalCompositeOperation = "multiply";
    const [wide, high] = [(this.albedo.width * scale) / own, (this.albedo.height * scale) / own];
    ctx.drawImage(this.albedo, cx - wide / 2, cy - high / 2, wide, high);
    ctx.globalCompositeOperation = "source-over";
  }

  /**
   * The reflex: a field of light, coloured, clipped to the pupil and enlarged smoothly.
   * @param {Streaked} setting
   * @param {number} faceMm
   * @param {boolean} moving
   * @param {Life} life
   */
  pupil(setting, faceMm, moving, life) {
    const { ctx, spot } = this;
    const care = moving ? "moving" : "frame";
    const summed = moving && irregular(setting, care);
    const size = summed ? COARSE : FINE;
    const key = JSON.stringify([setting, care]);
    if (key !== this.ready.key) {
      this.ready = { key, lit: beam(setting, care) };
      mottle(setting, size, this.mottle);
    }
    const pupil = setting.pupil_mm ?? 5;
    const values = field(this.ready.lit, pupil, faceMm, size, this.values, summed ? BENT_MOVING : undefined);
    this.colour(values, size, setting, faceMm);
    const half = pupil / 2;
    const tilt = Math.hypot(setting.off_axis_h ?? 0, setting.off_axis_v ?? 0) + Math.abs(life.turned);
    ctx.save();
    ctx.translate(life.pupilX, 0);
    if (tilt) {
      // Seen from the side, the entrance pupil narrows by cos(θ/1.12) along the tilt: Mathur, Gehrmann & Atchison 2013,
      // J Vis 13(6):3, 0.99 cos((φ + 5.3)/1.121); its shift by 5° towards the temporal field is left out.
      const way = Math.atan2(setting.off_axis_v ?? 0, setting.off_axis_h || life.turned || 1e-9);
      ctx.rotate(way);
      ctx.scale(Math.cos((tilt / 1.12) * RADIAN), 1);
      ctx.rotate(-way);
    }
    ctx.beginPath();
    ctx.arc(0, 0, half, 0, 2 * Math.PI);
    ctx.save();
    ctx.clip();
    ctx.scale(1, -1);
    ctx.imageSmoothingEnabled = true;
    ctx.imageSmoothingQuality = "high";
    ctx.drawImage(spot, 0, 0, size, size, -half, -half, pupil, pupil);
    ctx.restore();
    // The edge: 0.1 mm soft, and darker in the last 0.3 mm.
    ctx.strokeStyle = "rgba(8, 3, 2, 0.18)";
    for (const wide of [0.6, 0.36, 0.2]) {
      ctx.lineWidth = wide;
      ctx.stroke();
    }
    ctx.restore();
  }

  /**
   * Light into colour, on the small canvas that is then enlarged.
   * @param {Float32Array} values mm²
   * @param {number} size
   * @param {Streaked} setting
   * @param {number} faceMm
   */
  colour(values, size, setting, faceMm) {
    const { spot } = this;
    const inner = /** @type {CanvasRenderingContext2D} */ (spot.getContext("2d"));
    if (!this.image || this.image.width !== size) {
      spot.width = spot.height = size;
      this.image = inner.createImageData(size, size);
      this.pixels = new Uint32Array(this.image.data.buffer);
    }
    const haze = setting.haze ?? 0;
    // Scattered light: what falls on the pupil veils it in grey, and some of the reflex lifts the dark.
    const veil = haze && Math.round(VEIL * haze * Math.min(1, faceLight(setting, faceMm)(0, 0) / (FULL * 25)));
    const lifted = (LIFTED * haze) / 10;
    if (veil !== this.veil) [this.veil, this.inks] = [veil, inks(veil)];
    const { inks: ink, pixels, mottle: spots } = this;
    const clear = (1 - haze) / 10;
    for (let place = 0; place < size * size; place += 1) {
      const shade = Math.sqrt(values[place] * spots[place] * clear + lifted) * (SHADE_STEPS / 1.25);
      pixels[place] = ink[shade < SHADE_STEPS - 1 ? shade | 0 : SHADE_STEPS - 1];
    }
    inner.putImageData(this.image, 0, 0);
  }

  /**
   * The mark that the lamp leaves on the cornea: lit while the beam is on it, and moved towards the examiner's side.
   * @param {Streaked} setting
   * @param {number} faceMm
   * @param {Life} life
   */
  mark(setting, faceMm, life) {
    const { ctx } = this;
    const x = 0.4 + 4.75 * Math.sin((setting.off_axis_h ?? 0) * RADIAN) + life.markX;
    const y = 4.75 * Math.sin((setting.off_axis_v ?? 0) * RADIAN);
    const lit = Math.min(1, faceLight(setting, faceMm)(x, y) / (FULL * 25));
    if (lit < 0.005) return;
    const glow = ctx.createRadialGradient(x, y, 0, x, y, 0.5);
    glow.addColorStop(0, `rgba(255, 250, 236, ${0.35 + 0.65 * Math.sqrt(lit)})`);
    glow.addColorStop(0.35, `rgba(255, 236, 200, ${0.6 * Math.sqrt(lit)})`);
    glow.addColorStop(1, "rgba(255, 220, 170, 0)");
    ctx.globalCompositeOperation = "lighter";
    ctx.fillStyle = glow;
    ctx.fillRect(x - 0.5, y - 0.5, 1, 1);
    ctx.globalCompositeOperation = "source-over";
  }

  /**
   * The trial frame over it, drawn again only when it changes.
   * @param {import("./bench-state.js").Bench} bench
   * @param {number} scale
   */
  frame(bench, scale) {
    if (!this.rim) return;
    const how = { axis: bench.cylinder ? bench.axis : null, lens: bench.sphere !== 0, streak: bench.filament === "spot" ? null : bench.streak };
    const key = JSON.stringify([how, scale]);
    if (key === this.rimMade) return;
    this.rimMade = key;
    frameLayer(this.rim, { ...how, pxPerMm: scale });
  }
}

/**
 * Draw five places of a sweep side by side, in the order in which a hand goes to the right, or up.
 * @param {HTMLCanvasElement} canvas
 * @param {Drawing} drawing that draws on a canvas of its own
 * @param {import("./bench-state.js").BenchState} state
 */
export function fiveStills(canvas, drawing, state) {
  const width = 300;
  const height = 230;
  canvas.width = width * PLACES_MM.length;
  canvas.height = height;
  const ctx = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  [drawing.canvas.width, drawing.canvas.height] = [width, height];
  const way = rightward(state.bench.streak);
  PLACES_MM.forEach((along, place) => {
    drawing.draw(state, { faceMm: way * along });
    ctx.drawImage(drawing.canvas, place * width, 0);
  });
}

/**
 * Part of a movement to the right that is along the normal of a streak.
 * @param {number} streak degrees
 */
function across(streak) {
  return -Math.sin(streak * RADIAN);
}

/**
 * The setting as the eye is at this moment.
 * @param {Streaked} setting
 * @param {Life} life
 * @returns {Streaked}
 */
function alive(setting, life) {
  if (life === STILL) return setting;
  const { rx } = setting;
  return {
    ...setting,
    rx: { ...rx, sphere: rx.sphere - life.accommodated },
    pupil_mm: Math.min(9.5, (setting.pupil_mm ?? 5) * life.wider),
    off_axis_h: Math.max(-20, Math.min(20, (setting.off_axis_h ?? 0) - life.turned)),
  };
}

/** @param {number} share of the lamp's lens seen from a place */
function grey(share) {
  const v = Math.round(255 * Math.min(1, AMBIENT + (1 - AMBIENT) * Math.min(1, share / FULL) ** 0.7));
  return `rgb(${v}, ${Math.round(v * 0.97)}, ${Math.round(v * 0.9)})`;
}

/**
 * The colours of all shades behind a veil, each a pixel.
 * @param {number} veil 0 to 255
 */
function inks(veil) {
  const bytes = new Uint8ClampedArray(4 * SHADE_STEPS);
  for (let step = 0; step < SHADE_STEPS; step += 1) {
    bytes[4 * step] = SHADES[3 * step] + veil;
    bytes[4 * step + 1] = SHADES[3 * step + 1] + 0.94 * veil;
    bytes[4 * step + 2] = SHADES[3 * step + 2] + 0.86 * veil;
    bytes[4 * step + 3] = 255;
  }
  return new Uint32Array(bytes.buffer);
}

/**
 * What the fundus returns, about 1: blotches that lie where each point of the pupil looks. So they stay on the retina, are
 * large near neutral, and at neutral there are none: the whole pupil then looks at one place.
 * @param {Streaked} setting
 * @param {number} size
 * @param {Float32Array} into
 */
function mottle(setting, size, into) {
  const looks = lookOf(setting);
  const at = new Float64Array(2);
  const [rho, step] = [(setting.pupil_mm ?? 5) / 2, (setting.pupil_mm ?? 5) / size];
  const turned = -(setting.off_axis_h ?? 0) * MRAD_PER_DEGREE;
  const raised = -(setting.off_axis_v ?? 0) * MRAD_PER_DEGREE;
  for (let row = 0; row < size; row += 1) {
    for (let column = 0; column < size; column += 1) {
      looks((column + 0.5) * step - rho, rho - (row + 0.5) * step, at, 0);
      const [x, y] = [at[0] + turned, at[1] + raised];
      into[row * size + column] = 1 + MOTTLE * (0.65 * blotch(x / BLOTCH_MRAD, y / BLOTCH_MRAD) + 0.35 * blotch(31 + (2.3 * x) / BLOTCH_MRAD, 17 + (2.3 * y) / BLOTCH_MRAD));
    }
  }
}

/**
 * Smooth noise from −1 to 1, the same for everyone.
 * @param {number} x
 * @param {number} y
 */
function blotch(x, y) {
  const [left, low] = [Math.floor(x), Math.floor(y)];
  const [fx, fy] = [x - left, y - low];
  const [sx, sy] = [fx * fx * (3 - 2 * fx), fy * fy * (3 - 2 * fy)];
  const below = strewn(left, low) * (1 - sx) + strewn(left + 1, low) * sx;
  const above = strewn(left, low + 1) * (1 - sx) + strewn(left + 1, low + 1) * sx;
  return below * (1 - sy) + above * sy;
}

/**
 * @param {number} x whole
 * @param {number} y whole
 */
function strewn(x, y) {
  let mixed = Math.imul(x, 374761393) + Math.imul(y, 668265263);
  mixed = Math.imul(mixed ^ (mixed >>> 13), 1274126177);
  return ((mixed ^ (mixed >>> 16)) >>> 0) / 2147483648 - 1;
}

function shades() {
  const steps = 512;
  const out = new Float32Array(3 * steps);
  for (let step = 0; step < steps; step += 1) {
    const v = (1.25 * step) / (steps - 1);
    const upper = Math.max(1, TONES.findIndex(([at]) => at >= v));
    const [from, to] = [TONES[upper - 1], TONES[upper]];
    const part = (v - from[0]) / (to[0] - from[0]);
    for (let colour = 1; colour <= 3; colour += 1) {
      out[3 * step + colour - 1] = 255 * (from[colour] + part * (to[colour] - from[colour])) ** 0.8;
    }
  }
  return out;
}
