// @ts-check
// When a part of the guided run has been felt: each goal watches the state frame by frame and says yes once. No DOM.

import { movement, residual, seen as tell, skew } from "../reflex.js";

const SWEPT_MM = 4;
const ALIGNED_DEG = 3;
/** Signal from which against is plain, and how near 0 the beam's spread must be for a line on the face. */
const AGAINST = 0.06;
const LINE = 0.1;

/** Remembers to which sides the streak was swept since the last change of the bench. */
class Sides {
  constructor() {
    this.low = false;
    this.high = false;
  }

  forget() {
    this.low = false;
    this.high = false;
  }

  /** @param {number} faceMm */
  swept(faceMm) {
    if (faceMm < -SWEPT_MM) this.low = true;
    if (faceMm > SWEPT_MM) this.high = true;
    return this.low && this.high;
  }
}

/**
 * Make the watcher of a goal: called with the state at every frame, it returns whether the goal has been reached.
 * @param {string} goal
 * @returns {(state: import("./bench-state.js").BenchState) => boolean}
 */
export function watcher(goal) {
  const sides = new Sides();
  let last = "";
  const seen = new Set();
  return (state) => {
    const { bench, setting } = state;
    const now = JSON.stringify(bench);
    if (now !== last) sides.forget();
    last = now;
    const swept = sides.swept(state.faceMm);
    const way = movement(setting, bench.streak, state.instrument.neutral_zone);
    if (way === "against") seen.add("against");
    const turn = swept ? Math.round(bench.streak) : null;
    switch (goal) {
      case "swept":
        return swept;
      case "neutral":
        return swept && way === "neutral";
      case "reversal":
        return swept && way === "neutral" && seen.has("against");
      case "faded":
        return swept && (tell(setting).signal ?? 0) <= -AGAINST;
      case "sleeved":
        return Math.abs(1 - (bench.distance_cm * bench.sleeve) / 100) < LINE;
      case "aligned":
        return swept && Math.abs(skew(setting, bench.streak)) <= ALIGNED_DEG && Math.abs(residual(setting, bench.streak)) > 1;
      case "both":
      case "leaned":
        if (turn !== null && Math.abs(skew(setting, bench.streak)) <= ALIGNED_DEG && (goal === "both" || bench.distance_cm <= 45)) {
          seen.add(`${Math.round(turn / 10)}`);
        }
        return [...seen].some((one) => seen.has(String((Number(one) + 9) % 18)));
      default:
        return false;
    }
  };
}
