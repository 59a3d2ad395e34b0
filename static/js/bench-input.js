// @ts-check
// The hand: a pointer or a finger drags the streak from where it is, two fingers turn it, push the sleeve or lean, the
// wheel turns; keys do all of it. Buttons for every act are in the page (bench-acts.js).

import { RIM_MM } from "./bench-face.js";
import { rightward } from "./bench-state.js";

const RADIAN = Math.PI / 180;
/** What two fingers must do before they are taken for a turn, a lean or a push of the sleeve; the first that is passed. */
const TURN_DEG = 6;
const PINCH = 0.08;
const PUSH_PX = 10;
/** D of the sleeve for each pixel that two fingers go down together. */
const SLEEVE_PER_PX = 0.03;

/**
 * What the hands may do, and with what.
 * @typedef {object} Hands
 * @property {import("./bench-state.js").BenchState} state
 * @property {import("./bench-sweep.js").Sweep} sweep
 * @property {import("./bench-drawing.js").Drawing} drawing
 * @property {Set<string>} free what may be changed
 * @property {() => void} ask for a frame
 * @property {() => void} touched the hand has moved just now
 * @property {(name: string) => void} act do what a button of that name does
 */

/** The act of each key while the picture has the focus; with Shift, the second. @type {Record<string, [string, string]>} */
const KEYS = {
  Home: ["centre", "centre"], Space: ["sweep", "even"], Comma: ["clockwise", "clockwise-1"],
  Period: ["anticlockwise", "anticlockwise-1"], KeyX: ["across", "across"], KeyZ: ["left-45", "left-45"],
  KeyC: ["right-45", "right-45"], ArrowUp: ["sleeve-out", "sleeve-out"], ArrowDown: ["sleeve-in", "sleeve-in"],
  BracketLeft: ["nearer", "nearer"], BracketRight: ["farther", "farther"], PageUp: ["stronger", "stronger-1"],
  PageDown: ["weaker", "weaker-1"], KeyV: ["cylinder", "cylinder-less"], KeyB: ["axis", "axis"],
  KeyS: ["lamp", "lamp"], KeyF: ["stills", "stills"], KeyN: ["view", "view"], KeyQ: ["tell", "tell"],
  KeyT: ["target", "target"],
};

/** The seat, with Alt. @type {Record<string, string>} */
const SEAT_KEYS = { ArrowLeft: "seat-left", ArrowRight: "seat-right", ArrowUp: "nearer", ArrowDown: "farther" };

/**
 * @param {HTMLElement} stage
 * @param {Hands} hands
 * @param {() => boolean} letters whether keys of one letter do something
 */
export function keys(stage, hands, letters) {
  const { state, sweep, ask, touched } = hands;
  /** @type {string | null} */
  let held = null;
  const release = () => {
    held = null;
    sweep.pushing = 0;
  };
  stage.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey) return;
    if (event.altKey) {
      const seat = SEAT_KEYS[event.key];
      if (!seat) return;
      event.preventDefault();
      hands.act(seat);
      return;
    }
    const side = event.key === "ArrowRight" ? 1 : event.key === "ArrowLeft" ? -1 : 0;
    if (side) {
      event.preventDefault();
      const way = side * rightward(state.bench.streak);
      if (event.repeat) sweep.pushing = way;
      else state.sweepTo(state.faceMm + 0.5 * way);
      held = event.key;
      touched();
      ask();
      return;
    }
    const act = KEYS[event.code];
    if (!act || (event.code.startsWith("Key") && !letters())) return;
    event.preventDefault();
    hands.act(act[event.shiftKey ? 1 : 0]);
  });
  stage.addEventListener("keyup", (event) => {
    if (event.key === held) release();
  });
  stage.addEventListener("blur", release);
}

/**
 * @param {HTMLElement} stage the picture
 * @param {HTMLElement | null} pad where a finger may sweep without hiding the pupil
 * @param {Hands} hands
 */
export function pointers(stage, pad, hands) {
  const { state, drawing, free, ask, touched, sweep } = hands;
  /** @type {Map<number, [number, number]>} */
  const down = new Map();
  /** @type {"" | "sweep" | "axis" | "two" | "turn" | "lean" | "sleeve"} */
  let doing = "";
  let from = { angle: 0, apart: 1, y: 0, streak: 0, distance: 0, sleeve: 0 };
  let turned = 0;

  const scale = () => (drawing.pxPerMm(state.bench) * stage.clientWidth) / drawing.canvas.width;
  const two = () => {
    const [[ax, ay], [bx, by]] = [...down.values()];
    return { angle: Math.atan2(ay - by, bx - ax) / RADIAN, apart: Math.hypot(ax - bx, ay - by), y: (ay + by) / 2 };
  };
  const begin = () => {
    doing = "two";
    turned = 0;
    const { streak, distance_cm, sleeve } = state.bench;
    from = { ...two(), streak, distance: distance_cm, sleeve };
  };
  /** @param {PointerEvent} event whether it is on a handle of the cylinder in the frame */
  const onHandle = (event) => {
    if (!state.bench.cylinder || !free.has("lenses") || event.currentTarget !== stage) return false;
    const box = stage.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left - box.width / 2, box.top + box.height / 2 - event.clientY];
    const r = Math.hypot(x, y) / scale();
    const gap = Math.abs(((Math.atan2(y, x) / RADIAN - state.bench.axis + 270) % 180) - 90);
    return Math.abs(r - RIM_MM - 0.75) < 2.4 && gap < 12;
  };
  /** @param {PointerEvent} event */
  const start = (event) => {
    if (event.button !== 0) return;
    const target = /** @type {HTMLElement} */ (event.currentTarget);
    target.setPointerCapture(event.pointerId);
    if (event.pointerType !== "mouse") event.preventDefault();
    if (target === stage) stage.focus({ preventScroll: true });
    down.set(event.pointerId, [event.clientX, event.clientY]);
    if (sweep.going) sweep.go(false, state.faceMm);
    if (down.size === 1) doing = onHandle(event) ? "axis" : "sweep";
    else if (down.size === 2) begin();
    ask();
  };
  /** @param {PointerEvent} event */
  const move = (event) => {
    const was = down.get(event.pointerId);
    if (!was) return;
    const [dx, dy] = [event.clientX - was[0], was[1] - event.clientY];
    down.set(event.pointerId, [event.clientX, event.clientY]);
    touched();
    if (doing === "sweep") {
      const turn = state.bench.streak * RADIAN;
      state.sweepTo(state.faceMm + (-Math.sin(turn) * dx + Math.cos(turn) * dy) / scale());
    } else if (doing === "axis") {
      const box = stage.getBoundingClientRect();
      state.set("axis", Math.round(Math.atan2(box.top + box.height / 2 - event.clientY, event.clientX - box.left - box.width / 2) / RADIAN));
    } else if (down.size === 2) both();
    ask();
  };
  const both = () => {
    const now = two();
    let turn = now.angle - from.angle;
    turn -= 360 * Math.round((turn - turned) / 360);
    turned = turn;
    const grown = now.apart / from.apart;
    const pushed = now.y - from.y;
    if (doing === "two") {
      // Two fingers lock to the first that passes its threshold, until both are up.
      if (Math.abs(turn) > TURN_DEG && free.has("streak")) doing = "turn";
      else if (Math.abs(grown - 1) > PINCH && free.has("lean")) doing = "lean";
      else if (Math.abs(pushed) > PUSH_PX && free.has("sleeve")) doing = "sleeve";
    }
    if (doing === "turn") state.set("streak", Math.round(from.streak + turn));
    if (doing === "lean") state.set("distance_cm", Math.round(from.distance / grown));
    if (doing === "sleeve") state.set("sleeve", Math.round((from.sleeve + pushed * SLEEVE_PER_PX) * 10) / 10);
  };
  /** @param {PointerEvent} event */
  const end = (event) => {
    down.delete(event.pointerId);
    if (!down.size) doing = "";
  };
  for (const place of [stage, pad]) {
    if (!place) continue;
    place.addEventListener("pointerdown", start);
    place.addEventListener("pointermove", move);
    place.addEventListener("pointerup", end);
    place.addEventListener("pointercancel", end);
  }
}

/**
 * The wheel: turns; with Shift it pushes the sleeve, with Alt it leans. The page scrolls unless the bench fills it or has
 * the focus; with Ctrl the browser has it.
 * @param {HTMLElement} stage
 * @param {Hands} hands
 * @param {boolean} fills whether the bench fills the window
 */
export function wheel(stage, hands, fills) {
  stage.addEventListener(
    "wheel",
    (event) => {
      if (event.ctrlKey || (!fills && document.activeElement !== stage)) return;
      const way = Math.sign(event.deltaY || event.deltaX);
      if (!way) return;
      event.preventDefault();
      if (event.shiftKey) hands.act(way > 0 ? "sleeve-in" : "sleeve-out");
      else if (event.altKey) hands.act(way > 0 ? "farther" : "nearer");
      else hands.act(way > 0 ? "clockwise-2" : "anticlockwise-2");
    },
    { passive: false },
  );
}
