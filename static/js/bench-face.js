// @ts-check
// The still parts of the picture: face, eye and trial frame, once as they look in the dark room and once in the streak.
// Millimetres from the centre of the pupil, y up; the eye is drawn as a patient's right eye, its nose to our right.

/** Half the height of what is shown, in mm. */
export const HALF_VIEW_MM = 19;
/** The trial lens: the inner edge of its rim, and where its dial ends and the marks of the streak begin. */
export const RIM_MM = 13;
export const DIAL_MM = 14.9;

const DARK = {
  skin: "#120b08", hollow: "#0c0705", ridge: "#1a100b", crease: "#2b1a12", hair: "#1d110b", sclera: "#211813",
  iris: "#150e0a", fibre: "#22160f", limbus: "#0c0706", pupil: "#060303", metal: "#37291f", mark: "#a3714f", glint: "#4a382b",
};
const LIT = {
  skin: "#c48b66", hollow: "#8d5c40", ridge: "#dca67e", crease: "#6e412a", hair: "#4a2c1c", sclera: "#e6d6c4",
  iris: "#7d5530", fibre: "#b48650", limbus: "#3b2415", pupil: "#060303", metal: "#d8c4a4", mark: "#2a1a10", glint: "#fff3da",
};

const HAIRS = scattered(86, 7);
const FIBRES = scattered(96, 3);

/** @typedef {CanvasRenderingContext2D} Ctx in mm from the centre of the pupil, y up */
/** @typedef {typeof DARK} Inks */
/** @typedef {{size: number, pxPerMm: number, pupilMm: number, axis: number | null, lens: boolean}} How */

/**
 * Draw both layers anew. `size` in device pixels; `pxPerMm` how many of them a millimetre takes.
 * @param {How} how
 */
export function faceLayers(how) {
  return { dark: layer(DARK, how), lit: layer(LIT, how) };
}

/**
 * @param {Inks} inks
 * @param {How} how
 */
function layer(inks, { size, pxPerMm, pupilMm, axis, lens }) {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = size;
  const ctx = /** @type {Ctx} */ (canvas.getContext("2d", { alpha: false }));
  ctx.fillStyle = inks.skin;
  ctx.fillRect(0, 0, size, size);
  ctx.translate(size / 2, size / 2);
  ctx.scale(pxPerMm, -pxPerMm);
  ctx.lineCap = "round";
  face(ctx, inks);
  eye(ctx, inks, pupilMm);
  lashes(ctx, inks);
  frame(ctx, inks, axis, lens);
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
  ctx.fillRect(-40, -40, 80, 80);
  // the side of the nose
  ctx.fillStyle = inks.hollow;
  ctx.beginPath();
  ctx.moveTo(17, 30);
  ctx.bezierCurveTo(16, 12, 18, 2, 15.5, -6);
  ctx.bezierCurveTo(14, -12, 17, -20, 20, -30);
  ctx.lineTo(40, -30);
  ctx.lineTo(40, 30);
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
 * @param {number} pupilMm
 */
function eye(ctx, inks, pupilMm) {
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
    const from = pupilMm / 2 + 0.2 + 0.7 * b;
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
  disc(ctx, pupilMm / 2, inks.pupil);
}

/**
 * @param {Ctx} ctx
 * @param {Inks} inks
 */
function lashes(ctx, inks) {
  ctx.strokeStyle = inks.crease;
  ctx.lineWidth = 0.55;
  opening(ctx);
  ctx.stroke();
  ctx.strokeStyle = inks.hair;
  ctx.lineWidth = 0.26;
  for (let step = 0; step <= 22; step += 1) {
    const x = -13.4 + 1.1 * step;
    const y = lidAt(x);
    ctx.beginPath();
    ctx.moveTo(x, y);
    ctx.quadraticCurveTo(x + 0.05 * x, y + 1, x + 0.11 * x - 0.2, y + 1.5 + 0.4 * Math.sin(5 * step));
    ctx.stroke();
  }
}

/** Height of the upper lid's edge at x, close enough for lashes. @param {number} x */
function lidAt(x) {
  return 5.45 * Math.sqrt(Math.max(0, 1 - ((x + 0.9) / 13.9) ** 2)) - 0.3;
}

/**
 * @param {Ctx} ctx
 * @param {Inks} inks
 * @param {number | null} axis of the cylinder, null without one
 * @param {boolean} lens
 */
function frame(ctx, inks, axis, lens) {
  ring(ctx, RIM_MM + 0.75, 1.5, inks.metal);
  ring(ctx, RIM_MM + 0.1, 0.25, inks.glint);
  ring(ctx, RIM_MM + 1.45, 0.2, inks.glint);
  if (lens) {
    // the handle of a trial lens
    ctx.save();
    ctx.rotate(-0.62);
    ctx.fillStyle = inks.metal;
    ctx.fillRect(RIM_MM + 1.2, -0.9, 3, 1.8);
    ctx.restore();
  }
  ctx.strokeStyle = inks.mark;
  for (let angle = 0; angle < 360; angle += 5) {
    const long = angle % 15 === 0;
    ctx.lineWidth = angle % 45 === 0 ? 0.34 : 0.16;
    spoke(ctx, angle, RIM_MM + (long ? 0.35 : 0.8), RIM_MM + 1.35);
  }
  ctx.fillStyle = inks.mark;
  ctx.font = "1.5px sans-serif";
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  for (const angle of [45, 90, 135, 180]) {
    const turn = (angle * Math.PI) / 180;
    ctx.save();
    ctx.translate((DIAL_MM + 1.75) * Math.cos(turn), (DIAL_MM + 1.75) * Math.sin(turn));
    ctx.scale(1, -1);
    // On the dark layer, and where the streak lights the skin behind it, the dial must still be read.
    ctx.lineWidth = 0.5;
    ctx.strokeStyle = inks === DARK ? "#120a06" : "#fff8ea";
    ctx.strokeText(String(angle), angle === 180 ? 0.2 : 0, 0);
    ctx.fillStyle = inks === DARK ? "#d9a47c" : inks.mark;
    ctx.fillText(String(angle), angle === 180 ? 0.2 : 0, 0);
    ctx.restore();
  }
  if (axis !== null) {
    // the two short lines that mark a cylinder's axis on its glass
    ctx.strokeStyle = inks === DARK ? "#b98a63" : "#fff8ea";
    ctx.lineWidth = 0.4;
    for (const end of [axis, axis + 180]) spoke(ctx, end, RIM_MM - 2.4, RIM_MM - 0.4);
  }
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
