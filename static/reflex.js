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
 * An eye, the lenses before it and a retinoscope at a distance: `Setting` of cases/optics/reflex.py, with what is left
 * out at its default there.
 * @typedef {object} Setting
 * @property {SphCyl} rx the lens that corrects the eye
 * @property {SphCyl} in_place the sum of all lenses before it
 * @property {number} distance_cm pupil to sight hole
 * @property {number} [pupil_mm] diameter
 * @property {number} [sight_hole_mm] diameter
 * @property {number} [sleeve] vergence of the light at the mirror, D: below 0 diverging, above 0 converging
 * @property {number} [beam_mm] radius of the lamp's lens as the mirror shows it
 * @property {"streak" | "spot"} [filament]
 * @property {number} [filament_mrad] half its width as seen from the mirror; of a spot its radius
 * @property {number} [length_mrad] half its length
 * @property {number} [margin_per_mm2] spherical aberration: D added to E per mm² of distance from the pupil's centre
 * @property {[number, number]} [coma] D per mm: how E changes along it
 * @property {Cone | null} [cone]
 * @property {number} [haze] share of the light that the media scatter
 * @property {number} [off_axis_h] the examiner's place off the visual axis, degrees to the examiner's right
 * @property {number} [off_axis_v] the same, up
 * @property {number} [oblique_per_deg2] astigmatism off axis, D per degree squared, never positive
 */

/** A cone of the cornea. @typedef {{x: number, y: number, power: number, spread_mm: number}} Cone */

/** What `Setting` of the core takes where nothing is given. */
const USUAL = {
  pupil_mm: 5, sight_hole_mm: 2, sleeve: 0, beam_mm: 5, filament: "streak", filament_mrad: 1, length_mrad: 30,
  margin_per_mm2: 0, coma: [0, 0], cone: null, haze: 0, off_axis_h: 0, off_axis_v: 0, oblique_per_deg2: -0.0026,
};

/**
 * The same setting with nothing left out.
 * @param {Setting} setting
 * @returns {Required<Setting>}
 */
function whole(setting) {
  return /** @type {Required<Setting>} */ ({ ...USUAL, ...setting });
}

/** A symmetric 2 × 2 power matrix in D. @typedef {{xx: number, xy: number, yy: number}} Matrix */
/** @typedef {{x: number, y: number}} Vector */
/** @typedef {"with" | "against" | "neutral" | "neither"} Movement */

/** Half-width in D of what is called neutral, where none is given: the core's own, held to it by a test. */
export const NEUTRAL_ZONE = 0.125;

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
  const { off_axis_h, off_axis_v, oblique_per_deg2 } = whole(setting);
  const angle = Math.hypot(off_axis_h, off_axis_v);
  if (angle === 0) {
    return { sphere: 0, cylinder: 0, axis: 180 };
  }
  const tilt = Math.atan2(off_axis_v, off_axis_h) / RADIAN;
  return { sphere: 0, cylinder: oblique_per_deg2 * angle * angle, axis: axisOf(tilt + 90) };
}

/**
 * σ/φ: how far the streak's conjugate turns for each turn of the beam; negative for a crossed beam.
 * @param {Setting} setting
 */
export function beamGain({ sleeve = 0, distance_cm }) {
  const spread = 1 - (distance_cm * sleeve) / 100;
  return Math.abs(spread) > NOUGHT ? 1 / spread : Infinity;
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
  const alike = 100 / setting.distance_cm + whole(setting).margin_per_mm2 * radiusMm * radiusMm;
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
 * How the reflex goes in a sweep; "neither" when it only slides along the streak.
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
 * Speed of the reflex ÷ that of the streak on the face; Infinity at neutral.
 * @param {Setting} setting
 * @param {number} streak
 */
export function speedRatio(setting, streak) {
  const size = sizeAcross(setting, streak);
  return size > NOUGHT ? (Math.abs(beamGain(setting)) * 100) / (setting.distance_cm * size) : Infinity;
}

/**
 * Degrees from streak to reflex, −90 < skew ≤ 90; zero where there is no line.
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
 * Centre and margin of the pupil: what each still wants, and how it moves.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} [neutralZone]
 */
export function zones(setting, streak, neutralZone = NEUTRAL_ZONE) {
  return [0, whole(setting).pupil_mm / 2].map((radius_mm) => ({
    radius_mm,
    residual: residual(setting, streak, radius_mm),
    movement: movement(setting, streak, neutralZone, radius_mm),
  }));
}

/**
 * All facts of one setting under the names of `facts_json` in cases/optics/reflex.py; null for what is infinite.
 * @param {Setting} setting
 * @param {number} streak
 * @param {number} [neutralZone]
 */
export function facts(setting, streak, neutralZone = NEUTRAL_ZONE) {
  const E = residualMatrix(setting);
  return {
    movement: movement(setting, streak, neutralZone),
    residual: residual(setting, streak),
    speed_ratio: finite(speedRatio(setting, streak)),
    skew: skew(setting, streak),
    residual_matrix: [
      [E.xx, E.xy],
      [E.xy, E.yy],
    ],
    induced_cylinder: induced(setting).cylinder,
    beam_gain: beamGain(setting),
    zones: zones(setting, streak, neutralZone),
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

// --- the light: cases/optics/light.py once more -------------------------------------------------------------------

const SOFTEST_MM = 1e-3;
const DARK_MM2 = 1e-6;
/** Thresholds of what an eye can tell: the core's own, held to it by a test. */
export const SEEN = { too_dull_mm2: 0.2, unseen: 0.025, faint: 0.06, faded: 0.12 };

/** Nodes and weights of Gauss and Legendre, by their count. @type {Map<number, [number, number][]>} */
const GAUSS = new Map();
/** The share of a unit disc below z, for z from −1 to 1. */
const DISC = new Float64Array(4098);
for (let step = 0; step < DISC.length; step += 1) {
  const z = Math.min(1, step / 2048 - 1);
  DISC[step] = 0.5 + (z * Math.sqrt(1 - z * z) + Math.asin(z)) / Math.PI;
}

/**
 * The share of a unit disc that lies below z, from 0 at −1 to 1 at 1, to a millionth.
 * @param {number} z
 */
export function discShare(z) {
  if (z <= -1) return 0;
  if (z >= 1) return 1;
  const at = (z + 1) * 2048;
  const low = at | 0;
  return DISC[low] + (at - low) * (DISC[low + 1] - DISC[low]);
}

/** Points that cover a unit disc evenly, by their count. @type {Map<number, Float64Array>} */
const SUNFLOWERS = new Map();

/**
 * Points that cover a disc evenly: x, y, x, y …, in mm.
 * @param {number} radius
 * @param {number} count
 */
function sunflower(radius, count) {
  let unit = SUNFLOWERS.get(count);
  if (!unit) {
    unit = new Float64Array(2 * count);
    for (let step = 0; step < count; step += 1) {
      const r = Math.sqrt((step + 0.5) / count);
      const turn = (step + 0.5) * Math.PI * (3 - Math.sqrt(5));
      unit[2 * step] = r * Math.cos(turn);
      unit[2 * step + 1] = r * Math.sin(turn);
    }
    SUNFLOWERS.set(count, unit);
  }
  return unit.map((part) => radius * part);
}

/**
 * Places and weights for an integral from −1 to 1.
 * @param {number} count
 */
function gauss(count) {
  let found = GAUSS.get(count);
  if (!found) {
    found = [];
    for (let i = 0; i < count; i += 1) {
      let x = Math.cos((Math.PI * (i + 0.75)) / (count + 0.5));
      let slope = 1;
      for (let turn = 0; turn < 20; turn += 1) {
        let [before, now] = [1, x];
        for (let k = 2; k <= count; k += 1) [before, now] = [now, ((2 * k - 1) * x * now - (k - 1) * before) / k];
        slope = (count * (x * now - before)) / (x * x - 1);
        x -= now / slope;
      }
      found.push([x, 2 / ((1 - x * x) * slope * slope)]);
    }
    GAUSS.set(count, found);
  }
  return found;
}

/**
 * Ψ, where a pupil point looks, as a function that writes into two places: x and y in mrad.
 * @param {Required<Setting>} setting
 * @returns {(x: number, y: number, out: Float64Array, at: number) => void}
 */
function psiOf(setting) {
  const E = residualMatrix(setting);
  const { margin_per_mm2: a, coma: [kx, ky], cone } = setting;
  return (x, y, out, at) => {
    const r2 = x * x + y * y;
    const ky2 = (kx * x + ky * y) / 3;
    let px = E.xx * x + E.xy * y + a * r2 * x + ky2 * x + (r2 * kx) / 6;
    let py = E.xy * x + E.yy * y + a * r2 * y + ky2 * y + (r2 * ky) / 6;
    if (cone) {
      const [dx, dy] = [x - cone.x, y - cone.y];
      const pull = cone.power * Math.exp(-(dx * dx + dy * dy) / (2 * cone.spread_mm * cone.spread_mm));
      px -= pull * dx;
      py -= pull * dy;
    }
    out[at] = px;
    out[at + 1] = py;
  };
}

/**
 * Where each pupil point looks: a function that writes x and y in mrad into two places. It is told apart from the way in
 * which the whole eye is turned.
 * @param {Setting} setting
 */
export function lookOf(setting) {
  return psiOf(whole(setting));
}

/**
 * How Ψ changes at a pupil point, as a function that writes xx, xy and yy in D into three places.
 * @param {Required<Setting>} setting
 * @returns {(x: number, y: number, out: Float64Array) => void}
 */
function slopeOf(setting) {
  const E = residualMatrix(setting);
  const { margin_per_mm2: a, coma: [kx, ky], cone } = setting;
  return (x, y, out) => {
    const r2 = x * x + y * y;
    const both = (kx * x + ky * y) / 3;
    out[0] = E.xx + a * (r2 + 2 * x * x) + both + (2 * x * kx) / 3;
    out[1] = E.xy + 2 * a * x * y + (x * ky + y * kx) / 3;
    out[2] = E.yy + a * (r2 + 2 * y * y) + both + (2 * y * ky) / 3;
    if (!cone) return;
    const [dx, dy] = [x - cone.x, y - cone.y];
    const t2 = cone.spread_mm * cone.spread_mm;
    const pull = cone.power * Math.exp(-(dx * dx + dy * dy) / (2 * t2));
    out[0] -= pull * (1 - (dx * dx) / t2);
    out[1] += (pull * dx * dy) / t2;
    out[2] -= pull * (1 - (dy * dy) / t2);
  };
}

/**
 * How closely light is worked out: for a frame while the hand moves, for a frame at rest, for a whole sweep, or once.
 * @typedef {"moving" | "frame" | "sweep" | "fine"} Care
 */

/**
 * |a|·d² in D from which light is summed over nodes, how many of them, and steps of the integral over a band. The fit of
 * a regular eye misses 4 % of the peak at most at 0.8 D, 10 % at 1.6 D.
 * @type {Record<Care, [number, number, number]>}
 */
const CARES = { moving: [1.6, 256, 8], frame: [0.8, 256, 8], sweep: [0.25, 256, 24], fine: [0.25, 1024, 24] };

/** A setting with the direction of its streak. @typedef {Setting & {streak: number}} Streaked */

/**
 * Whether light must be summed over nodes: for a spot, and for an eye that no sphere and cylinder describe.
 * @param {Setting} setting
 * @param {Care} [care]
 */
export function irregular(setting, care = "frame") {
  const { filament, coma, cone, margin_per_mm2, pupil_mm } = whole(setting);
  const bent = Math.abs(margin_per_mm2) * pupil_mm * pupil_mm > CARES[care][0];
  return filament === "spot" || Boolean(cone) || coma[0] !== 0 || coma[1] !== 0 || bent;
}

/** The light of a pupil point (mm) in mm². @typedef {(x: number, y: number) => number} Light */

/**
 * A function of a place of the streak (mm) that gives the light of pupil points, 0 outside the pupil; `bare` gives it
 * without that bound, as the same formulas have it beyond the rim.
 * @typedef {((faceMm: number) => Light) & {bare: (faceMm: number) => Light}} Lit
 */

/**
 * The light of a setting. Made once a setting, asked once a frame, and then once a point.
 * @param {Streaked} given
 * @param {Care} [care]
 * @returns {Lit}
 */
export function beam(given, care = "frame") {
  const setting = whole(given);
  const bare = irregular(setting, care)
    ? byNodes(setting, given.streak, CARES[care][1])
    : byBands(setting, given.streak, CARES[care][2]);
  const rim = (setting.pupil_mm / 2) ** 2 * (1 + 1e-12);
  /** @param {number} faceMm */
  const within = (faceMm) => {
    const at = bare(faceMm);
    return (/** @type {number} */ x, /** @type {number} */ y) => (x * x + y * y > rim ? 0 : at(x, y));
  };
  return Object.assign(within, { bare });
}

/**
 * The band form: a regular eye. What depends on the setting alone is worked out once.
 * @param {Required<Setting>} setting
 * @param {number} streak
 * @param {number} steps
 * @returns {(faceMm: number) => Light}
 */
function byBands(setting, streak, steps) {
  const { pupil_mm, sight_hole_mm, beam_mm, filament_mrad, length_mrad, distance_cm, sleeve } = setting;
  const [w, rho, h] = [distance_cm / 100, pupil_mm / 2, sight_hole_mm / 2];
  const c = 1 - w * sleeve;
  const n = normal(streak);
  const u = { x: n.y, y: -n.x };
  const E = residualMatrix(setting);
  const a = setting.margin_per_mm2;
  const { gx, gy, G } = a ? fitted(psiOf(setting), rho) : { gx: 0, gy: 0, G: [E.xx, E.xy, E.xy, E.yy] };
  const cw = c * w;
  const vx = n.x - cw * (G[0] * n.x + G[2] * n.y);
  const vy = n.y - cw * (G[1] * n.x + G[3] * n.y);
  const size = Math.hypot(vx, vy);
  const sized = size > 1e-6;
  const [ax, ay] = sized ? [vx / size, vy / size] : [n.x, n.y];
  const [bx, by] = [-ay, ax];
  const wide = w * filament_mrad;
  const soft = Math.max(Math.abs(c) * h, SOFTEST_MM);
  const reach = wide + soft;
  const long = w * length_mrad;
  // u·V along t and r, and w·G along them
  const Vu = [u.x - cw * (G[0] * u.x + G[2] * u.y), u.y - cw * (G[1] * u.x + G[3] * u.y)];
  const [ut, ur] = [Vu[0] * ax + Vu[1] * ay, Vu[0] * bx + Vu[1] * by];
  const [tx, ty] = [w * (G[0] * ax + G[1] * ay), w * (G[2] * ax + G[3] * ay)];
  const [rx, ry] = [w * (G[0] * bx + G[1] * by), w * (G[2] * bx + G[3] * by)];
  const square = rx * rx + ry * ry;
  const [inner, outer] = [(beam_mm - h / 2) ** 2, (beam_mm + h / 2) ** 2];
  const nodes = Float64Array.from(gauss(steps).map(([place]) => place));
  const weights = Float64Array.from(gauss(steps).map(([, weight]) => weight));
  const rho2 = rho * rho;
  const most = Math.PI * rho2;
  const slanted = Math.abs(ur) > 1e-9;
  return (faceMm) => (x, y) => {
    const bent = a * (x * x + y * y);
    const zx = w * (E.xx * x + E.xy * y + bent * x - gx);
    const zy = w * (E.xy * x + E.yy * y + bent * y - gy);
    const x0 = c * (n.x * zx + n.y * zy) - faceMm;
    let low = -rho;
    let high = rho;
    if (sized) {
      low = Math.max(low, (-reach - x0) / size);
      high = Math.min(high, (reach - x0) / size);
    } else if (x0 >= reach || x0 <= -reach) return 0;
    if (high <= low) return 0;
    const half = (high - low) / 2;
    const middle = (high + low) / 2;
    const uz = c * (u.x * zx + u.y * zy);
    let sum = 0;
    for (let step = 0; step < steps; step += 1) {
      const t = middle + half * nodes[step];
      const X = x0 + size * t;
      const lit = discShare((X + wide) / soft) - discShare((X - wide) / soft);
      if (lit <= 0) continue;
      let end = Math.sqrt(Math.max(0, rho2 - t * t));
      let start = -end;
      const A = uz + t * ut;
      if (slanted) {
        const one = (-long - A) / ur;
        const other = (long - A) / ur;
        start = Math.max(start, Math.min(one, other));
        end = Math.min(end, Math.max(one, other));
      } else if (Math.abs(A) > long) continue;
      if (end <= start) continue;
      const dx = t * tx - zx;
      const dy = t * ty - zy;
      const mid = dx * rx + dy * ry;
      const rest = dx * dx + dy * dy;
      let length;
      // Where both ends lie on the lamp's lens, all between them does.
      if (Math.max(start * (start * square + 2 * mid), end * (end * square + 2 * mid)) + rest <= inner) length = end - start;
      else if (square > 1e-12) {
        const near = mid * mid - square * (rest - inner);
        const far = mid * mid - square * (rest - outer);
        if (far <= 0) continue;
        length = overlap(start, end, mid, far, square);
        if (near > 0) length += overlap(start, end, mid, near, square);
        length /= 2;
      } else length = rest <= outer ? (end - start) / 2 : 0;
      sum += weights[step] * lit * length;
    }
    return Math.min(half * sum, most);
  };
}

/**
 * How much of start … end lies between the roots of square·r² + 2·mid·r + …, whose discriminant is `root2`.
 * @param {number} start
 * @param {number} end
 * @param {number} mid
 * @param {number} root2
 * @param {number} square
 */
function overlap(start, end, mid, root2, square) {
  const root = Math.sqrt(root2);
  return Math.max(0, Math.min(end, (root - mid) / square) - Math.max(start, (-mid - root) / square));
}

/**
 * The best Ψ ≈ g + G p over the pupil; G as [xx, xy, yx, yy].
 * @param {ReturnType<typeof psiOf>} psi
 * @param {number} rho
 */
function fitted(psi, rho) {
  // In pairs, so that a centred eye looks straight ahead.
  const half = sunflower(rho, 80);
  const at = new Float64Array(2);
  // Normal equations of 1, x, y for both parts of Ψ.
  const right = [[0, 0, 0], [0, 0, 0]];
  let [sx, sy, sxx, sxy, syy] = [0, 0, 0, 0, 0];
  for (let j = 0; j < 160; j += 1) {
    const way = j < 80 ? 1 : -1;
    const x = way * half[2 * (j % 80)];
    const y = way * half[2 * (j % 80) + 1];
    psi(x, y, at, 0);
    sx += x;
    sy += y;
    sxx += x * x;
    sxy += x * y;
    syy += y * y;
    for (let side = 0; side < 2; side += 1) {
      right[side][0] += at[side];
      right[side][1] += x * at[side];
      right[side][2] += y * at[side];
    }
  }
  const s = 160;
  const det = s * (sxx * syy - sxy * sxy) - sx * (sx * syy - sxy * sy) + sy * (sx * sxy - sxx * sy);
  const solved = right.map(([a, b, c]) => [
    (a * (sxx * syy - sxy * sxy) - sx * (b * syy - sxy * c) + sy * (b * sxy - sxx * c)) / det,
    (s * (b * syy - sxy * c) - a * (sx * syy - sxy * sy) + sy * (sx * c - b * sy)) / det,
    (s * (sxx * c - b * sxy) - sx * (sx * c - b * sy) + a * (sx * sxy - sxx * sy)) / det,
  ]);
  return { gx: solved[0][0], gy: solved[1][0], G: [solved[0][1], solved[0][2], solved[1][1], solved[1][2]] };
}

/**
 * The node form: any eye, and the spot.
 * @param {Required<Setting>} setting
 * @param {number} streak
 * @param {number} count
 * @returns {(faceMm: number) => Light}
 */
function byNodes(setting, streak, count) {
  const { pupil_mm, sight_hole_mm, beam_mm, filament_mrad, length_mrad, distance_cm, sleeve } = setting;
  const [w, rho, h] = [distance_cm / 100, pupil_mm / 2, sight_hole_mm / 2];
  const c = 1 - w * sleeve;
  const spot = setting.filament === "spot";
  const n = normal(streak);
  const u = { x: n.y, y: -n.x };
  const psi = psiOf(setting);
  const slope = slopeOf(setting);
  const wide = w * filament_mrad;
  const long = w * length_mrad;
  const cell = (rho / 2) * Math.sqrt(Math.PI / count);
  const points = sunflower(rho, count);
  // Of each node: where it looks, times w; its softness and that of the mirror's edge there, as shares of 1 mm; what it
  // adds to x along n and u but for the pupil point's own part.
  const [lookX, lookY, reach, sharp, rim, inside, alongN, alongU] = Array.from({ length: 8 }, () => new Float64Array(count));
  const look = new Float64Array(2);
  const bend = new Float64Array(3);
  for (let j = 0; j < count; j += 1) {
    const x = points[2 * j];
    const y = points[2 * j + 1];
    psi(x, y, look, 0);
    slope(x, y, bend);
    const [xx, xy, yy] = bend;
    const vxx = 1 - c * w * xx;
    const vxy = -c * w * xy;
    const vyy = 1 - c * w * yy;
    const bent = spot
      ? (vxx * vxx + 2 * vxy * vxy + vyy * vyy) / 2
      : (vxx * n.x + vxy * n.y) ** 2 + (vxy * n.x + vyy * n.y) ** 2;
    const soft = Math.max(SOFTEST_MM, Math.sqrt((c * h) ** 2 + (4 / 3) * cell * cell * bent));
    const all = xx * xx + 2 * xy * xy + yy * yy;
    const edge = Math.max(SOFTEST_MM, Math.sqrt(h * h + (2 / 3) * (w * cell) ** 2 * all));
    reach[j] = wide + soft;
    sharp[j] = 1 / soft;
    rim[j] = 1 / edge;
    inside[j] = Math.max(0, beam_mm - edge) ** 2;
    lookX[j] = w * look[0];
    lookY[j] = w * look[1];
    alongN[j] = n.x * (x - c * lookX[j]) + n.y * (y - c * lookY[j]);
    alongU[j] = u.x * (x - c * lookX[j]) + u.y * (y - c * lookY[j]);
  }
  const each = (Math.PI * rho * rho) / count;
  const own = new Float64Array(2);
  return (faceMm) => (x, y) => {
    psi(x, y, own, 0);
    const ox = w * own[0];
    const oy = w * own[1];
    const cx = c * (n.x * ox + n.y * oy) - faceMm;
    const cu = c * (u.x * ox + u.y * oy);
    let sum = 0;
    for (let j = 0; j < count; j += 1) {
      const xn = cx + alongN[j];
      if (xn >= reach[j] || xn <= -reach[j]) continue;
      const xu = cu + alongU[j];
      let lit;
      if (spot) {
        lit = discShare((wide - Math.sqrt(xn * xn + xu * xu)) * sharp[j]);
      } else {
        lit = discShare((xn + wide) * sharp[j]) - discShare((xn - wide) * sharp[j]);
        const left = (long - Math.abs(xu)) * sharp[j];
        if (left < 1) lit *= discShare(left);
      }
      if (lit <= 0) continue;
      const dx = ox - lookX[j];
      const dy = oy - lookY[j];
      const far = dx * dx + dy * dy;
      if (far > inside[j]) lit *= discShare((beam_mm - Math.sqrt(far)) * rim[j]);
      sum += lit;
    }
    return each * sum;
  };
}

/**
 * A function of a point of the face (mm from the pupil's centre) that gives the light that falls there, in mm² of lamp
 * seen from it.
 * @param {Streaked} given
 * @param {number} faceMm
 * @returns {(x: number, y: number) => number}
 */
export function faceLight(given, faceMm) {
  const { distance_cm, sleeve, beam_mm, filament, filament_mrad, length_mrad } = whole(given);
  const w = distance_cm / 100;
  const reach = Math.max(Math.abs(1 - w * sleeve) * beam_mm, SOFTEST_MM);
  const n = normal(given.streak);
  const [wide, long, full] = [w * filament_mrad, w * length_mrad, beam_mm * beam_mm];
  return (x, y) => {
    const xn = n.x * x + n.y * y - faceMm;
    const xu = n.y * x - n.x * y;
    if (filament === "spot") return full * discShare((wide - Math.hypot(xn, xu)) / reach);
    return (
      full *
      (discShare((xn + wide) / reach) - discShare((xn - wide) / reach)) *
      (discShare((xu + long) / reach) - discShare((xu - long) / reach))
    );
  };
}

/** Cubic weights of four places in a row for one a quarter of the way from the second to the third. */
const NEAR = [-9 / 128, 111 / 128, 29 / 128, -3 / 128];
const FAR = [...NEAR].reverse();
/**
 * How much the light may bend between two points of the half grid, in shares of its greatest, before all are worked out:
 * at rest, and while the hand moves where light is summed over nodes.
 */
const BENT = 0.012;
export const BENT_MOVING = 0.03;
/** Room for the half grid and its rows: one field is worked out at a time. */
let half = new Float32Array(0);
let rows = new Float32Array(0);
let sharp = new Uint8Array(0);

/**
 * The light over the pupil: `size` × `size` in mm², rows from the top. Beyond the rim the same formulas go on, so that
 * enlarging leaves no rim; farther out than a point and a half nothing is drawn. `size` is even.
 *
 * Every second point in either direction is worked out, those between by cubics; where the light bends too much for
 * that, each by itself. A test holds the error under 1.5 % of the greatest light; `bent` may be wider for a glance.
 * @param {Lit} lit what `beam` gives
 * @param {number} pupilMm
 * @param {number} faceMm
 * @param {number} size
 * @param {Float32Array} [into]
 * @param {number} [bent]
 */
export function field(lit, pupilMm, faceMm, size, into = new Float32Array(size * size), bent = BENT) {
  const at = lit.bare(faceMm);
  const rho = pupilMm / 2;
  const step = pupilMm / size;
  // The half grid has two points more on each side.
  const wide = size / 2 + 4;
  if (half.length < wide * wide) {
    half = new Float32Array(wide * wide);
    rows = new Float32Array(2 * wide * wide);
    sharp = new Uint8Array(wide * wide);
  }
  const most = coarse(at, rho, 2 * step, wide);
  bends(wide, bent * most);
  // Between the columns first, then between the rows.
  for (let row = 0; row < wide; row += 1) {
    for (let column = 0; column < size; column += 1) {
      const from = row * wide + ((column + 1) >> 1);
      const [a, b, c, d] = column & 1 ? NEAR : FAR;
      rows[row * size + column] = a * half[from] + b * half[from + 1] + c * half[from + 2] + d * half[from + 3];
    }
  }
  for (let row = 0; row < size; row += 1) {
    const y = rho - (row + 0.5) * step;
    const reach = Math.sqrt(Math.max(0, (rho + 1.5 * step) ** 2 - y * y));
    const first = (row + 1) >> 1;
    const [a, b, c, d] = row & 1 ? NEAR : FAR;
    const own = ((row >> 1) + 2) * wide + 2;
    for (let column = 0; column < size; column += 1) {
      const x = (column + 0.5) * step - rho;
      if (x > reach || x < -reach) continue;
      const from = first * size + column;
      into[row * size + column] = sharp[own + (column >> 1)]
        ? at(x, y)
        : Math.max(0, a * rows[from] + b * rows[from + size] + c * rows[from + 2 * size] + d * rows[from + 3 * size]);
    }
  }
  return into;
}

/**
 * Work out the half grid as far as it is needed; what lies beyond takes the light of the nearest that is. Returns the
 * greatest light.
 * @param {Light} at
 * @param {number} rho
 * @param {number} step mm between its points
 * @param {number} wide
 */
function coarse(at, rho, step, wide) {
  let most = 0;
  const limit = rho + 1.5 * step;
  for (let row = 0; row < wide; row += 1) {
    const y = rho - (row - 1.5) * step;
    for (let column = 0; column < wide; column += 1) {
      let x = (column - 1.5) * step - rho;
      let up = y;
      const r = Math.sqrt(x * x + y * y);
      if (r > limit) {
        half[row * wide + column] = 0;
        // No cubic of a point that is drawn comes as far as this.
        if (r > limit + 2 * step) continue;
        x *= limit / r;
        up *= limit / r;
      }
      const light = at(x, up);
      half[row * wide + column] = light;
      if (light > most && r <= rho) most = light;
    }
  }
  return most;
}

/**
 * Mark the points of the half grid about which the light bends by more than `limit`.
 * @param {number} wide
 * @param {number} limit
 */
function bends(wide, limit) {
  sharp.fill(0);
  for (let row = 1; row < wide - 1; row += 1) {
    for (let column = 1; column < wide - 1; column += 1) {
      const place = row * wide + column;
      const twice = 2 * half[place];
      const across = Math.abs(half[place - 1] + half[place + 1] - twice);
      const down = Math.abs(half[place - wide] + half[place + wide] - twice);
      if (across <= limit && down <= limit) continue;
      sharp[place] = sharp[place - 1] = sharp[place + 1] = sharp[place - wide] = sharp[place + wide] = 1;
    }
  }
}

/**
 * What an eye can tell from a sweep: `SweepSeen` of cases/optics/light.py.
 * @param {Streaked} setting
 * @param {Care} [care]
 * @returns {{signal: number | null, peak_mm2: number, word: string}}
 */
export function seen(setting, care = "sweep") {
  const lit = beam(setting, care);
  const { pupil_mm, haze } = whole(setting);
  const half = sunflower(pupil_mm / 2, 48);
  const n = normal(setting.streak);
  const [means, ways] = [/** @type {number[]} */ ([]), /** @type {number[]} */ ([])];
  for (let place = 1; place <= 24; place += 1) {
    for (const way of [1, -1]) {
      const at = lit((way * place) / 2);
      let [sum, other] = [0, 0];
      for (let j = 0; j < 48; j += 1) {
        const [x, y] = [half[2 * j], half[2 * j + 1]];
        const side = Math.sign(n.x * x + n.y * y);
        const [here, there] = [at(x, y), at(-x, -y)];
        sum += here + there;
        other += side * (here - there);
      }
      means.push(sum / 96);
      ways.push(sum < DARK_MM2 * 96 ? 0 : (way * other) / sum);
    }
  }
  const peak_mm2 = lit(0)(0, 0);
  const greatest = Math.max(...means);
  if (greatest < DARK_MM2) return { signal: null, peak_mm2, word: "too dull to tell" };
  let [up, down] = [0, 0];
  means.forEach((mean, place) => {
    if (mean < SEEN.faded * greatest) return;
    up += mean * ways[place];
    down += mean;
  });
  const signal = ((1 - haze) * up) / down;
  const beamEdge = Math.abs(signal) >= SEEN.unseen && signal * wayEverywhere(setting) < 0;
  return { signal, peak_mm2, word: beamEdge ? "too dull to tell" : movementWord(signal, peak_mm2) };
}

/**
 * 1 where all of the pupil goes with, −1 against, else 0.
 * @param {Streaked} setting
 */
function wayEverywhere(setting) {
  const { pupil_mm, cone, coma } = whole(setting);
  const [centre, edge] = [0, pupil_mm / 2].map((at) => residual(setting, setting.streak, at));
  const least = Math.max(NEUTRAL_ZONE, (Math.hypot(...coma) * pupil_mm) / 2);
  if (cone || centre * edge < 0 || Math.min(Math.abs(centre), Math.abs(edge)) <= least) return 0;
  return Math.sign(centre * beamGain(setting));
}

/**
 * @param {number} signal
 * @param {number} peakMm2
 */
function movementWord(signal, peakMm2) {
  if (peakMm2 < SEEN.too_dull_mm2) return "too dull to tell";
  if (Math.abs(signal) < SEEN.unseen) return "no movement seen";
  return (signal > 0 ? "with" : "against") + (Math.abs(signal) < SEEN.faint ? ", faint" : "");
}

/**
 * All that is seen with the streak at `face_mm`: what `python -m cases look` prints for the same JSON.
 * @param {Streaked & {face_mm?: number, points_mm?: [number, number][]}} given
 */
export function look(given) {
  const { face_mm = 0, points_mm } = given;
  const { pupil_mm } = whole(given);
  const rho = pupil_mm / 2;
  const lit = beam(given, "fine");
  const n = normal(given.streak);
  const at = lit(face_mm);
  const points = points_mm ?? defaultPoints(rho);
  const pupil = sunflower(rho, 512);
  const here = summed(pupil, at, n);
  const [plus, minus] = [summed(pupil, lit(2), n).centroid_mm, summed(pupil, lit(-2), n).centroid_mm];
  const E = residualMatrix(given);
  return {
    light: points.map(([x_mm, y_mm]) => ({ x_mm, y_mm, mm2: at(x_mm, y_mm) })),
    ...here,
    ...profile(at, rho, n),
    shift_per_mm: plus && minus ? [(plus[0] - minus[0]) / 4, (plus[1] - minus[1]) / 4] : null,
    residual: [[E.xx, E.xy], [E.xy, E.yy]],
    seen: seen(given),
  };
}

/**
 * @param {Float64Array} points
 * @param {(x: number, y: number) => number} at
 * @param {Vector} n
 * @returns {{mean_mm2: number, centroid_mm: [number, number] | null, sides: number | null}}
 */
function summed(points, at, n) {
  let [sum, sx, sy, sides] = [0, 0, 0, 0];
  const count = points.length / 2;
  for (let j = 0; j < count; j += 1) {
    const [x, y] = [points[2 * j], points[2 * j + 1]];
    const one = at(x, y);
    sum += one;
    sx += one * x;
    sy += one * y;
    sides += one * Math.sign(n.x * x + n.y * y);
  }
  if (sum < DARK_MM2 * count) return { mean_mm2: sum / count, centroid_mm: null, sides: null };
  return { mean_mm2: sum / count, centroid_mm: [sx / sum, sy / sum], sides: sides / sum };
}

/**
 * Width at half the greatest light, and contrast, on the line along n from −0.96ρ to 0.96ρ.
 * @param {(x: number, y: number) => number} at
 * @param {number} rho
 * @param {Vector} n
 */
function profile(at, rho, n) {
  const lit = Array.from({ length: 193 }, (_, step) => {
    const s = 0.96 * rho * (step / 96 - 1);
    return at(s * n.x, s * n.y);
  });
  const [most, least] = [Math.max(...lit), Math.min(...lit)];
  if (most < DARK_MM2) return { half_width_mm: null, contrast: null };
  let share = 0;
  for (let step = 0; step < 192; step += 1) {
    const [a, b] = [lit[step] - most / 2, lit[step + 1] - most / 2];
    if (a >= 0 && b >= 0) share += 1;
    else if (a >= 0 || b >= 0) share += Math.max(a, b) / (Math.abs(a) + Math.abs(b));
  }
  return { half_width_mm: share * 0.01 * rho, contrast: (most - least) / (most + least) };
}

/**
 * The centre, 4 points at 0.4 of the radius and 8 at 0.8.
 * @param {number} rho
 * @returns {[number, number][]}
 */
function defaultPoints(rho) {
  /** @type {[number, number][]} */
  const rings = [[0, 1], [0.4, 4], [0.8, 8]];
  return rings.flatMap(([share, count]) =>
    Array.from({ length: count }, (_, step) => {
      const turn = (2 * Math.PI * step) / count;
      return /** @type {[number, number]} */ ([share * rho * Math.cos(turn), share * rho * Math.sin(turn)]);
    }),
  );
}

/** @param {number} value */
function finite(value) {
  return Number.isFinite(value) ? value : null;
}
