// @ts-check
/**
 * The moving reflex in the pupil, for the bench: the formulas of cases/optics/reflex.py once more, for every frame.
 * Pure functions, no DOM. Derivation, signs and sources stand in that module; a browser test holds the two together.
 *
 * Powers in D, distances in cm unless the name says mm, angles in degrees anticlockwise as the examiner faces the
 * patient; x to the examiner's right, y up. `streak` is the long direction of the streak; displacements count along
 * its normal n, the streak turned 90° anticlockwise.
 */

/** @typedef {{sphere: number, cylinder: number, axis: number}} SphCyl */

/**
 * An eye, the lenses before it and a retinoscope at a distance: what `Setting.as_json` gives. `source_cm` is null for
 * a parallel beam, positive for a diverging one and negative for one that converges short of the eye.
 * @typedef {object} Setting
 * @property {SphCyl} rx the lens that corrects the eye
 * @property {SphCyl} in_place the sum of all lenses before it
 * @property {number} distance_cm pupil to sight hole
 * @property {number} pupil_mm diameter
 * @property {number} sight_hole_mm diameter
 * @property {number | null} source_cm apparent source behind the mirror
 * @property {number} streak_mrad half the angular width of the sharp streak on the retina
 * @property {number} margin_per_mm2 spherical aberration: D added to E per mm² of distance from the pupil's centre
 * @property {number} off_axis_h the examiner's place off the visual axis, to the examiner's right
 * @property {number} off_axis_v the same, up
 * @property {number} oblique_per_deg2 astigmatism off axis, D per degree squared, never positive
 */

/** A symmetric 2 × 2 power matrix in D. @typedef {{xx: number, xy: number, yy: number}} Matrix */
/** @typedef {{x: number, y: number}} Vector */
/** @typedef {"with" | "against" | "neutral" | "neither"} Movement */

/**
 * The lit band for one place of the streak; `angle` and `foot_mm` are null, and the widths infinite, at exactly neutral.
 * @typedef {object} Reflex
 * @property {number | null} angle direction of the band, 0 < angle ≤ 180
 * @property {[number, number] | null} foot_mm point of its middle line nearest the centre of the pupil
 * @property {number} width_mm from edge to edge, where the light ends
 * @property {number} core_mm the evenly lit part
 * @property {boolean} in_pupil whether any of it falls in the pupil
 */

/** Half-width in D of what is called neutral, where none is given: the core's own, held to it by a test. */
export const NEUTRAL_ZONE = 0.125;

/** Residual in D at which the reflex is drawn half as bright as at neutral, where none is given: the core's own. */
export const DIM_AT = 4;

/** Residuals below this, in D, are rounding. */
const NOUGHT = 1e-9;

const RADIAN = Math.PI / 180;

/**
 * Bring an angle into 0 < axis ≤ 180.
 * @param {number} angle
 */
export function axisOf(angle) {
  const turned = ((angle % 180) + 180) % 180;
  return turned < 1e-9 || 180 - turned < 1e-9 ? 180 : turned;
}

/**
 * Power matrix of a lens.
 * @param {SphCyl} lens
 * @returns {Matrix}
 */
export function powerMatrix({ sphere, cylinder, axis }) {
  const sin = Math.sin(axis * RADIAN);
  const cos = Math.cos(axis * RADIAN);
  return { xx: sphere + cylinder * sin * sin, xy: -cylinder * sin * cos, yy: sphere + cylinder * cos * cos };
}

/**
 * What sighting off axis adds to the correction: minus cylinder across the tilt.
 * @param {Setting} setting
 * @returns {SphCyl}
 */
export function induced(setting) {
  const angle = Math.hypot(setting.off_axis_h, setting.off_axis_v);
  if (angle === 0) {
    return { sphere: 0, cylinder: 0, axis: 180 };
  }
  const tilt = Math.atan2(setting.off_axis_v, setting.off_axis_h) / RADIAN;
  return { sphere: 0, cylinder: setting.oblique_per_deg2 * angle * angle, axis: axisOf(tilt + 90) };
}

/**
 * σ/φ: how far the streak's conjugate turns for each turn of the beam; negative for a converging beam.
 * @param {Setting} setting
 */
export function beamGain({ source_cm, distance_cm }) {
  return source_cm === null ? 1 : source_cm / (source_cm + distance_cm);
}

/**
 * The same setting with the examiner nearer by `byCm` (negative: leaning back).
 * @param {Setting} setting
 * @param {number} byCm
 * @returns {Setting}
 */
export function leaningIn(setting, byCm) {
  return { ...setting, distance_cm: setting.distance_cm - byCm };
}

/**
 * E = R − L + I/w, what is still to be added for neutral, for rays at `radiusMm` from the centre of the pupil.
 * @param {Setting} setting
 * @param {number} [radiusMm]
 * @returns {Matrix}
 */
export function residualMatrix(setting, radiusMm = 0) {
  const eye = powerMatrix(setting.rx);
  const tilt = powerMatrix(induced(setting));
  const lenses = powerMatrix(setting.in_place);
  const alike = 100 / setting.distance_cm + setting.margin_per_mm2 * radiusMm * radiusMm;
  return {
    xx: eye.xx + tilt.xx - lenses.xx + alike,
    xy: eye.xy + tilt.xy - lenses.xy,
    yy: eye.yy + tilt.yy - lenses.yy + alike,
  };
}

/**
 * What is still to be added in the meridian across the streak, nᵀE n.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} [radiusMm]
 */
export function residual(setting, streak, radiusMm = 0) {
  return dot(normal(streak), across(setting, streak, radiusMm));
}

/**
 * How the reflex goes when the streak is swept across its own length; "neither" when it only slides along the streak.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} [neutralZone]
 * @param {number} [radiusMm]
 * @returns {Movement}
 */
export function movement(setting, streak, neutralZone = NEUTRAL_ZONE, radiusMm = 0) {
  const zone = Math.max(neutralZone, NOUGHT);
  const En = across(setting, streak, radiusMm);
  const along = dot(normal(streak), En);
  if (Math.hypot(En.x, En.y) <= zone) {
    return "neutral";
  }
  if (Math.abs(along) <= zone) {
    return "neither";
  }
  return along * beamGain(setting) > 0 ? "with" : "against";
}

/**
 * Speed of the reflex ÷ speed of the streak on the face, without sign; Infinity at exactly neutral.
 * @param {Setting} setting
 * @param {number} streak
 */
export function speedRatio(setting, streak) {
  const size = sizeAcross(setting, streak);
  return size > NOUGHT ? (Math.abs(beamGain(setting)) * 100) / (setting.distance_cm * size) : Infinity;
}

/**
 * Angle from streak to reflex, −90 < skew ≤ 90, anticlockwise positive; nought where there is no line.
 * @param {Setting} setting
 * @param {number} streak
 */
export function skew(setting, streak) {
  const n = normal(streak);
  const En = across(setting, streak);
  if (Math.hypot(En.x, En.y) <= NOUGHT) {
    return 0;
  }
  let turn = Math.atan2(n.x * En.y - n.y * En.x, dot(n, En)) / RADIAN;
  turn -= 180 * Math.round(turn / 180);
  if (Math.abs(turn) < NOUGHT) {
    return 0;
  }
  return turn <= -90 + NOUGHT ? 90 : turn;
}

/**
 * Width of the lit band from edge to edge, and of its evenly lit core; both infinite at exactly neutral.
 * @param {Setting} setting
 * @param {number} streak
 * @returns {{width_mm: number, core_mm: number}}
 */
export function widths(setting, streak) {
  const size = sizeAcross(setting, streak);
  if (size <= NOUGHT) {
    return { width_mm: Infinity, core_mm: Infinity };
  }
  const { outer, core } = halfAngles(setting, streak);
  return { width_mm: (2000 * outer) / size, core_mm: (2000 * core) / size };
}

/**
 * How bright to draw the reflex, 1 at neutral: a drawing law, not a measured one.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} [dimAt] residual in D at which it is half as bright
 */
export function brightness(setting, streak, dimAt = DIM_AT) {
  return 1 / (1 + sizeAcross(setting, streak) / dimAt);
}

/**
 * The lit band when the middle of the streak lies `faceMm` from the centre of the pupil, along n.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} faceMm
 * @returns {Reflex}
 */
export function reflex(setting, streak, faceMm) {
  const En = across(setting, streak);
  const size = Math.hypot(En.x, En.y);
  const sigma = displacement(setting, faceMm);
  const in_pupil = Math.abs(sigma) < halfAngles(setting, streak).outer + (size * setting.pupil_mm) / 2000;
  const band = widths(setting, streak);
  if (size <= NOUGHT) {
    return { angle: null, foot_mm: null, ...band, in_pupil };
  }
  const scale = (1000 * sigma) / (size * size);
  return {
    angle: axisOf(Math.atan2(En.y, En.x) / RADIAN + 90),
    foot_mm: [scale * En.x, scale * En.y],
    ...band,
    in_pupil,
  };
}

/**
 * A function of a pupil point (mm) that tells how much light it sends through the sight hole, 0 to 1, aberration and
 * all; outside the pupil 0. Multiply by `brightness`. Made once a frame, called once a pixel.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} faceMm
 * @returns {(xMm: number, yMm: number) => number}
 */
export function light(setting, streak, faceMm) {
  const n = normal(streak);
  const En = across(setting, streak);
  const sigma = displacement(setting, faceMm);
  const { outer, core } = halfAngles(setting, streak);
  const slope = Math.max(outer - core, 1e-12);
  const edge = (setting.pupil_mm / 2) ** 2;
  return (x, y) => {
    const r2 = x * x + y * y;
    if (r2 > edge) {
      return 0;
    }
    const angle = (En.x * x + En.y * y + setting.margin_per_mm2 * r2 * (n.x * x + n.y * y)) / 1000;
    return Math.min(1, Math.max(0, (outer - Math.abs(angle - sigma)) / slope));
  };
}

/**
 * Centre and margin of the pupil: what each still wants, and how it moves.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} [neutralZone]
 */
export function zones(setting, streak, neutralZone = NEUTRAL_ZONE) {
  return [0, setting.pupil_mm / 2].map((radius_mm) => ({
    radius_mm,
    residual: residual(setting, streak, radius_mm),
    movement: movement(setting, streak, neutralZone, radius_mm),
  }));
}

/**
 * All facts of one setting under the names of `facts_json` in cases/optics/reflex.py; null for what is infinite.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} faceMm
 * @param {number} [neutralZone]
 */
export function facts(setting, streak, faceMm, neutralZone = NEUTRAL_ZONE) {
  const E = residualMatrix(setting);
  const band = reflex(setting, streak, faceMm);
  const at = light(setting, streak, faceMm);
  const steps = [-2, -1, 0, 1, 2].map((step) => step * 0.175 * setting.pupil_mm);
  return {
    movement: movement(setting, streak, neutralZone),
    residual: residual(setting, streak),
    speed_ratio: finite(speedRatio(setting, streak)),
    skew: skew(setting, streak),
    ...band,
    width_mm: finite(band.width_mm),
    core_mm: finite(band.core_mm),
    residual_matrix: [
      [E.xx, E.xy],
      [E.xy, E.yy],
    ],
    induced_cylinder: induced(setting).cylinder,
    beam_gain: beamGain(setting),
    brightness: brightness(setting, streak),
    zones: zones(setting, streak, neutralZone),
    light: steps.map((y) => steps.map((x) => at(x, y))),
  };
}

/**
 * Unit vector across the streak.
 * @param {number} streak
 * @returns {Vector}
 */
function normal(streak) {
  return { x: -Math.sin(streak * RADIAN), y: Math.cos(streak * RADIAN) };
}

/**
 * @param {Vector} a
 * @param {Vector} b
 */
function dot(a, b) {
  return a.x * b.x + a.y * b.y;
}

/**
 * E n, in D.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} [radiusMm]
 * @returns {Vector}
 */
function across(setting, streak, radiusMm = 0) {
  const E = residualMatrix(setting, radiusMm);
  const n = normal(streak);
  return { x: E.xx * n.x + E.xy * n.y, y: E.xy * n.x + E.yy * n.y };
}

/**
 * |E n|, in D.
 * @param {Setting} setting
 * @param {number} streak
 */
function sizeAcross(setting, streak) {
  const En = across(setting, streak);
  return Math.hypot(En.x, En.y);
}

/**
 * σ in radians for a displacement of the streak on the face.
 * @param {Setting} setting
 * @param {number} faceMm
 */
function displacement(setting, faceMm) {
  return (beamGain(setting) * faceMm) / (10 * setting.distance_cm);
}

/**
 * Half the angular width of the band in radians: whole, and evenly lit.
 * @param {Setting} setting
 * @param {number} streak
 */
function halfAngles(setting, streak) {
  const w = setting.distance_cm / 100;
  const toSource = setting.source_cm === null ? 0 : 100 / (setting.source_cm + setting.distance_cm);
  const En = across(setting, streak);
  const n = normal(streak);
  const defocus = toSource - 1 / w;
  const blur = Math.hypot(En.x + defocus * n.x, En.y + defocus * n.y);
  const parts = [setting.streak_mrad / 1000, (setting.pupil_mm / 2000) * blur, setting.sight_hole_mm / 2000 / w];
  const outer = parts[0] + parts[1] + parts[2];
  return { outer, core: Math.max(0, 2 * Math.max(...parts) - outer) };
}

/** @param {number} value */
function finite(value) {
  return Number.isFinite(value) ? value : null;
}
