// @ts-check
// Hands on the picture: pointer and touch drag the streak or turn it by the dial; keys do all that the buttons do.

import { RIM_MM } from "./bench-face.js";

const RADIAN = Math.PI / 180;
/** @type {Record<string, [number, number]>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/**
 * What the hands may do, and with what.
 * @typedef {object} Hands
 * @property {import("./bench-state.js").BenchState} state
 * @property {import("./bench-sweep.js").Sweep} sweep
 * @property {import("./bench-drawing.js").Drawing} drawing
 * @property {Set<string>} free shelves that may be changed
 * @property {() => void} ask for a frame
 * @property {(on?: boolean) => void} sweeping
 * @property {() => void} tell
 * @property {() => void} view
 */

/**
 * Which way along its normal a streak moves when it is pushed in a direction: 1, −1, or 0 along its own length.
 * @param {number} streak degrees
 * @param {[number, number]} way
 */
export function pushed(streak, [x, y]) {
  const along = -Math.sin(streak * RADIAN) * x + Math.cos(streak * RADIAN) * y;
  return Math.abs(along) < 0.05 ? 0 : Math.sign(along);
}

/**
 * What a key does beside sweeping, as [shelf that must be free, deed], or nothing.
 * @param {KeyboardEvent} event
 * @param {Hands} hands
 * @returns {[string, () => void] | null}
 */
function deedOf(event, { state, sweeping, tell, view }) {
  const { bench } = state;
  /** @type {(name: string, by: number) => void} */
  const turn = (name, by) => state.nudge(name, event.shiftKey ? -by : by);
  switch (event.key.toLowerCase()) {
    case " ": return ["", () => sweeping()];
    case "q": return ["", tell];
    case "v": return ["", view];
    case "t": return ["streak", () => turn("streak", 5)];
    case "y": return ["streak", () => turn("streak", 1)];
    case "+": case "=": return ["lenses", () => state.nudge("sphere", 0.25)];
    case "-": case "−": case "_": return ["lenses", () => state.nudge("sphere", -0.25)];
    case "pageup": return ["lenses", () => state.nudge("sphere", 1)];
    case "pagedown": return ["lenses", () => state.nudge("sphere", -1)];
    case "c": return ["lenses", () => turn("cylinder", -0.25)];
    case "a": return ["lenses", () => state.set("axis", bench.streak)];
    case "i": return ["lean", () => state.nudge("distance_cm", -5)];
    case "o": return ["lean", () => state.nudge("distance_cm", 5)];
    default: return null;
  }
}

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Hands} hands
 */
export function keys(canvas, hands) {
  const { state, sweep, free, ask } = hands;
  /** @type {string | null} */
  let held = null;
  const release = () => {
    held = null;
    sweep.pushing = 0;
  };
  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const arrow = ARROWS[event.key];
    if (arrow) {
      event.preventDefault();
      held = event.key;
      sweep.pushing = pushed(state.bench.streak, arrow);
      ask();
      return;
    }
    const deed = deedOf(event, hands);
    if (!deed || (deed[0] && !free.has(deed[0]))) return;
    event.preventDefault();
    deed[1]();
  });
  canvas.addEventListener("keyup", (event) => {
    if (event.key === held) release();
  });
  canvas.addEventListener("blur", release);
}

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Hands} hands
 */
export function pointer(canvas, hands) {
  const { state, drawing, free, ask, sweeping } = hands;
  let turning = false;
  /**
   * Where a pointer is, in mm from the centre of the pupil, y up.
   * @param {PointerEvent} event
   * @returns {[number, number]}
   */
  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    const scale = (drawing.pxPerMm(state.bench) * box.width) / canvas.width;
    return [(event.clientX - box.left - box.width / 2) / scale, (box.top + box.height / 2 - event.clientY) / scale];
  };
  /** @param {PointerEvent} event */
  const drag = (event) => {
    const [x, y] = place(event);
    if (turning) {
      state.set("streak", Math.round(Math.atan2(y, x) / RADIAN));
    } else {
      const turn = state.bench.streak * RADIAN;
      state.sweepTo(-Math.sin(turn) * x + Math.cos(turn) * y);
    }
    ask();
  };
  canvas.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    turning = free.has("streak") && Math.hypot(...place(event)) > RIM_MM;
    canvas.setPointerCapture(event.pointerId);
    sweeping(false);
    drag(event);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (canvas.hasPointerCapture(event.pointerId)) drag(event);
  });
}
