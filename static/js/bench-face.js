// @ts-check
// The still parts of the picture: face and eye as white light shows them, and the trial frame that lies over them.
// Millimetres from the centre of the pupil, y up; the eye is drawn as a patient's right eye, its nose to our right.

/** Half the height of what is shown at the usual distance, in mm. */
export const HALF_VIEW_MM = 18.2;
/** The trial lens: the inner edge of its rim, and where its dial ends and the marks of the streak begin. */
export const RIM_MM = 13;
export const DIAL_MM = 14.9;
/** How much more of the face is drawn than is shown: leaning back shows it. */
const MORE = 1.9;

const INKS = {
  skin: "#c48b66", hollow: "#8d5c40", ridge: "#dca67e", crease: "#6e412a", hair: "#4a2c1c", sclera: "#e6d6c4",
  iris: "#7d5530", fibre: "#c09458", limbus: "#3b2415", pupil: "#0c0604",
};
const METAL = { rim: "#3c3129", glint: "#6d5a48", mark: "#e6d3b6", figure: "#f0dfc4", under: "#120a06", pointer: "#ffce9a" };

const HAIRS = scattered(86, 7);
const FIBRES = scattered(96, 3);

/** @typedef {CanvasRenderingContext2D} Ctx in mm from the centre of the pupil, y up */
/** @typedef {typeof INKS} Inks */

/**
 * Draw the face as white light shows it, wider than the picture by `MORE`. Lengths in device pixels.
 * @param {{width: number, height: number, pxPerMm: number, shut: boolean}} how
 */
export function faceLayer({ width, height, pxPerMm, shut }) {
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(width * MORE);
  canvas.height = Math.round(height * MORE);
  const ctx = /** @type {Ctx} */ (canvas.getContext("2d", { alpha: false }));
  ctx.fillStyle = INKS.skin;
  ctx.fillRect(0, 0, canvas.width, canvas.height);
  ctx.translate(canvas.width / 2, canvas.height / 2);
  ctx.scale(pxPerMm, -pxPerMm);
  ctx.lineCap = "round";
  face(ctx, INKS);
  if (!shut) eye(ctx, INKS);
  lashes(ctx, INKS, shut);
  return canvas;
}

/**
 * @param {Ctx} ctx
 * @param {Inks} inks
 */
function face(ctx, inks) {
  const socket = ctx.createRadialGradient(1, 1, 7, 0, 0, 24);
  socket.addColorStop(0, inks.hollow);
  socket.addColorStop(0.45, inks.skin);
  socket.addColorStop(1, inks.ridge);
  ctx.fillStyle = socket;
  ctx.fillRect(-90, -60, 180, 120);
  // the side of the nose
  ctx.fillStyle = inks.hollow;
  ctx.beginPath();
  ctx.moveTo(17, 30);
  ctx.bezierCurveTo(16, 12, 18, 2, 15.5, -6);
  ctx.bezierCurveTo(14, -12, 17, -20, 20, -30);
  ctx.lineTo(90, -60);
  ctx.lineTo(90, 60);
  ctx.fill();
  // the brow, hair by hair
  ctx.strokeStyle = inks.hair;
  ctx.lineWidth = 0.42;
  for (const [a, b, c] of HAIRS) {
    const x = -19 + 36 * a;
    const y = 14.2 + 2.6 * Math.sin((x + 19) / 12.5) + 3.2 * (b - 0.5);
    ctx.beginPath();
    ctx.moveTo(x, y);
    ctx.quadraticCurveTo(x - 1, y + 0.9, x - 2.2 - c, y + 0.8 + 0.7 * c);
    ctx.stroke();
  }
  // the fold of the upper lid and the hollow under the lower one
  ctx.strokeStyle = inks.crease;
  ctx.lineWidth = 0.45;
  stroke(ctx, [-15.5, 2.5], [-8, 9.8, 6, 10, 14.5, 1.5]);
  ctx.lineWidth = 0.3;
  stroke(ctx, [-12, -6.5], [-5, -11, 5, -11, 12.5, -5.2]);
}

/** @param {Ctx} ctx */
function opening(ctx) {
  ctx.beginPath();
  ctx.moveTo(-14.6, -0.4);
  ctx.bezierCurveTo(-9, 6.6, 5, 8, 12.4, -0.6);
  ctx.quadraticCurveTo(14, -1.8, 15.2, -2.4);
  ctx.quadraticCurveTo(13, -2.6, 11.4, -2.8);
  ctx.bezierCurveTo(5, -7.6, -7, -8, -14.6, -0.4);
}

/**
 * @param {Ctx} ctx
 * @param {Inks} inks
 */
function eye(ctx, inks) {
  ctx.save();
  opening(ctx);
  ctx.clip();
  ctx.fillStyle = inks.sclera;
  ctx.fillRect(-20, -20, 40, 40);
  disc(ctx, 6.15, inks.limbus);
  disc(ctx, 5.8, inks.iris);
  ctx.strokeStyle = inks.fibre;
  ctx.lineWidth = 0.13;
  for (const [a, b, c] of FIBRES) {
    const turn = 2 * Math.PI * a;
    const from = 1.4 + 0.7 * b;
    const to = 5.5 - 1.4 * c;
    if (to <= from) continue;
    ctx.beginPath();
    ctx.moveTo(from * Math.cos(turn), from * Math.sin(turn));
    ctx.lineTo(to * Math.cos(turn + 0.05 * (b - 0.5)), to * Math.sin(turn + 0.05 * (b - 0.5)));
    ctx.stroke();
  }
  // the shade that the upper lid throws on the globe
  const shade = ctx.createLinearGradient(0, 6.2, 0, 2.6);
  shade.addColorStop(0, "rgba(0,0,0,0.5)");
  shade.addColorStop(1, "rgba(0,0,0,0)");
  ctx.fillStyle = shade;
  ctx.fillRect(-16, 2.6, 32, 5);
  ctx.restore();
  disc(ctx, 1.3, inks.pupil);
}

/**
 * @param {Ctx} ctx
 * @param {Inks} inks
 * @param {boolean} shut
 */
function lashes(ctx, inks, shut) {
  ctx.strokeStyle = inks.crease;
  ctx.lineWidth = 0.55;
  if (!shut) {
    opening(ctx);
    ctx.stroke();
  }
  ctx.strokeStyle = inks.hair;
  ctx.lineWidth = 0.26;
  for (let step = 0; step <= 22; step += 1) {
    const x = -13.4 + 1.1 * step;
    const y = shut ? -3.2 : lidAt(x);
    ctx.beginPath();
    ctx.moveTo(x, y);
    const up = shut ? -1 : 1;
    ctx.quadraticCurveTo(x + 0.05 * x, y + up, x + 0.11 * x - 0.2, y + up * (1.5 + 0.4 * Math.sin(5 * step)));
    ctx.stroke();
  }
}

/** Height of the upper lid's edge at x, close enough for lashes. @param {number} x */
function lidAt(x) {
  return 5.45 * Math.sqrt(Math.max(0, 1 - ((x + 0.9) / 13.9) ** 2)) - 0.3;
}

/**
 * Draw the trial frame on a canvas of its own: rim, axis marks, the axis of a cylinder, and how the streak lies.
 * @param {HTMLCanvasElement} canvas
 * @param {{axis: number | null, lens: boolean, streak: number | null, pxPerMm: number}} how
 */
export function frameLayer(canvas, { axis, lens, streak, pxPerMm }) {
  const ctx = /** @type {Ctx} */ (canvas.getContext("2d"));
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.clearRect(0, 0, canvas.width, canvas.height);
  ctx.setTransform(pxPerMm, 0, 0, -pxPerMm, canvas.width / 2, canvas.height / 2);
  ring(ctx, RIM_MM + 0.75, 1.5, METAL.rim);
  ring(ctx, RIM_MM + 0.1, 0.12, METAL.glint);
  ring(ctx, RIM_MM + 1.45, 0.12, METAL.glint);
  if (lens) ring(ctx, RIM_MM - 0.25, 0.5, METAL.glint);
  ctx.strokeStyle = METAL.mark;
  for (let angle = 0; angle < 360; angle += 5) {
    const long = angle % 15 === 0;
    ctx.lineWidth = angle % 45 === 0 ? 0.26 : 0.12;
    spoke(ctx, angle, RIM_MM + (long ? 0.3 : 0.8), RIM_MM + 1.35);
  }
  ctx.font = "1.5px sans-serif";
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  for (const angle of [30, 60, 90, 120, 150, 180]) {
    const turn = (angle * Math.PI) / 180;
    ctx.save();
    ctx.translate((RIM_MM - 1.3) * Math.cos(turn), (RIM_MM - 1.3) * Math.sin(turn));
    ctx.scale(1, -1);
    ctx.lineWidth = 0.4;
    ctx.strokeStyle = METAL.under;
    ctx.strokeText(String(angle), 0, 0);
    ctx.fillStyle = METAL.figure;
    ctx.fillText(String(angle), 0, 0);
    ctx.restore();
  }
  if (axis !== null) {
    // The two lines engraved on a cylinder, and the handle by which it is turned.
    ctx.strokeStyle = METAL.figure;
    ctx.lineWidth = 0.3;
    for (const side of [axis, axis + 180]) spoke(ctx, side, RIM_MM - 2.6, RIM_MM - 0.2);
    for (const side of [axis, axis + 180]) knob(ctx, side, METAL.figure);
  }
  if (streak !== null) {
    ctx.fillStyle = METAL.pointer;
    for (const side of [streak, streak + 180]) pointer(ctx, side);
  }
}

/**
 * @param {Ctx} ctx
 * @param {number} angle degrees
 * @param {string} ink
 */
function knob(ctx, angle, ink) {
  const turn = (angle * Math.PI) / 180;
  ctx.fillStyle = ink;
  ctx.beginPath();
  ctx.arc((RIM_MM + 0.75) * Math.cos(turn), (RIM_MM + 0.75) * Math.sin(turn), 0.8, 0, 2 * Math.PI);
  ctx.fill();
}

/**
 * A mark outside the dial that tells how the streak lies even where it falls beside the eye.
 * @param {Ctx} ctx
 * @param {number} angle degrees
 */
function pointer(ctx, angle) {
  ctx.save();
  ctx.rotate((angle * Math.PI) / 180);
  ctx.beginPath();
  ctx.moveTo(DIAL_MM, 0);
  ctx.lineTo(DIAL_MM + 1.1, 0.55);
  ctx.lineTo(DIAL_MM + 1.1, -0.55);
  ctx.fill();
  ctx.restore();
}

/**
 * @param {Ctx} ctx
 * @param {number} radius
 * @param {number} width
 * @param {string} ink
 */
function ring(ctx, radius, width, ink) {
  ctx.strokeStyle = ink;
  ctx.lineWidth = width;
  ctx.beginPath();
  ctx.arc(0, 0, radius, 0, 2 * Math.PI);
  ctx.stroke();
}

/**
 * @param {Ctx} ctx
 * @param {number} radius
 * @param {string} ink
 */
function disc(ctx, radius, ink) {
  ctx.fillStyle = ink;
  ctx.beginPath();
  ctx.arc(0, 0, radius, 0, 2 * Math.PI);
  ctx.fill();
}

/**
 * @param {Ctx} ctx
 * @param {number} angle degrees
 * @param {number} from
 * @param {number} to
 */
function spoke(ctx, angle, from, to) {
  const turn = (angle * Math.PI) / 180;
  ctx.beginPath();
  ctx.moveTo(from * Math.cos(turn), from * Math.sin(turn));
  ctx.lineTo(to * Math.cos(turn), to * Math.sin(turn));
  ctx.stroke();
}

/**
 * @param {Ctx} ctx
 * @param {[number, number]} from
 * @param {[number, number, number, number, number, number]} curve
 */
function stroke(ctx, [x, y], [x1, y1, x2, y2, x3, y3]) {
  ctx.beginPath();
  ctx.moveTo(x, y);
  ctx.bezierCurveTo(x1, y1, x2, y2, x3, y3);
  ctx.stroke();
}

/**
 * Triples in 0..1 that look strewn and are the same every time.
 * @param {number} count
 * @param {number} seed
 */
function scattered(count, seed) {
  /** @type {[number, number, number][]} */
  const out = [];
  for (let step = 1; step <= count; step += 1) {
    out.push([(step * 0.6180339) % 1, (step * 0.7548777 + seed * 0.13) % 1, (step * 0.5698403 + seed * 0.29) % 1]);
  }
  return out;
}
