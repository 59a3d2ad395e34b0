// @ts-check
// Every act of the hand by its name: what a key, a notch of the wheel or a button of the page does. No DOM.

import { CYLINDERS, rightward } from "./bench-state.js";

/** How far one press of a button sweeps, in mm. */
const STEP_MM = 3;

/**
 * Acts as [what must be free for it, what it does].
 * @param {import("./bench-state.js").BenchState} state
 * @param {{sweep: (once: boolean) => void, tell: () => void, stills: () => void, view: () => void}} page
 * @returns {Record<string, [string, () => void]>}
 */
export function acts(state, page) {
  /** @type {(by: number) => [string, () => void]} */
  const turn = (by) => ["streak", () => state.set("streak", state.bench.streak + by)];
  /** @type {(name: string, free: string, by: number) => [string, () => void]} */
  const nudge = (name, free, by) => [free, () => state.nudge(name, by)];
  /** @type {(side: number) => [string, () => void]} */
  const step = (side) => ["", () => {
    state.sweepTo(state.faceMm + side * STEP_MM * rightward(state.bench.streak));
    state.changed();
  }];
  const cylinder = (/** @type {number} */ way) => () => {
    const sizes = [0, ...CYLINDERS];
    const now = Math.abs(state.bench.cylinder);
    const next = way > 0 ? sizes.find((one) => one > now + 0.01) : [...sizes].reverse().find((one) => one < now - 0.01);
    if (next === undefined) return;
    if (!state.bench.cylinder) state.set("axis", state.bench.streak);
    state.set("cylinder", -next);
  };
  return {
    centre: ["", () => {
      state.sweepTo(0);
      state.changed();
    }],
    left: step(-1),
    right: step(1),
    sweep: ["", () => page.sweep(true)],
    even: ["", () => page.sweep(false)],
    clockwise: turn(-5), anticlockwise: turn(5), "clockwise-1": turn(-1), "anticlockwise-1": turn(1),
    "clockwise-2": turn(-2), "anticlockwise-2": turn(2), across: turn(90), "left-45": turn(45), "right-45": turn(-45),
    "sleeve-out": nudge("sleeve", "sleeve", -0.1), "sleeve-in": nudge("sleeve", "sleeve", 0.1),
    "sleeve-far-out": nudge("sleeve", "sleeve", -0.5), "sleeve-far-in": nudge("sleeve", "sleeve", 0.5),
    nearer: nudge("distance_cm", "lean", -1), farther: nudge("distance_cm", "lean", 1),
    "nearer-5": nudge("distance_cm", "lean", -5), "farther-5": nudge("distance_cm", "lean", 5),
    stronger: nudge("sphere", "lenses", 0.25), weaker: nudge("sphere", "lenses", -0.25),
    "stronger-1": nudge("sphere", "lenses", 1), "weaker-1": nudge("sphere", "lenses", -1),
    out: ["lenses", () => {
      state.set("sphere", 0);
      state.set("cylinder", 0);
    }],
    cylinder: ["lenses", cylinder(1)], "cylinder-less": ["lenses", cylinder(-1)],
    axis: ["lenses", () => state.set("axis", state.bench.streak)],
    "axis-left": nudge("axis", "lenses", 5), "axis-right": nudge("axis", "lenses", -5),
    lamp: ["sleeve", () => state.set("filament", state.bench.filament === "spot" ? "streak" : "spot")],
    "seat-left": nudge("off_h", "sight", -1), "seat-right": nudge("off_h", "sight", 1),
    "seat-left-5": nudge("off_h", "sight", -5), "seat-right-5": nudge("off_h", "sight", 5),
    "seat-up-5": nudge("off_v", "sight", 5), "seat-down-5": nudge("off_v", "sight", -5),
    target: ["sight", () => state.set("target", state.bench.target === "near" ? "far" : "near")],
    tell: ["", page.tell], stills: ["", page.stills], view: ["", page.view],
  };
}
