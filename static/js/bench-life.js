// @ts-check
// What an eye does by itself: nystagmus, the pupil's unrest and answer to light, accommodation, a blink. Functions of time
// from a seed, so that a case looks the same to everyone. No DOM. Sizes and times are examples: no published source.

const RADIAN = Math.PI / 180;
/** An eye turned by α moves its pupil by this times sin α, and its corneal mark by that, in mm. */
const PUPIL_ARM_MM = 10.4;
const MARK_ARM_MM = 5.7;
/** How far and how often a focus that wavers goes to near and back, D and Hz; how much the pupil narrows for each D. */
const WAVER_D = 2;
const WAVER_HZ = 0.22;
const NARROWS = 0.07;
/** How late the pupil answers light, s. */
const LATE_S = 0.25;

/**
 * @typedef {object} Life
 * @property {number} turned degrees that the eye is turned to the examiner's right
 * @property {number} pupilX mm, where the pupil has gone
 * @property {number} markX mm, where the corneal mark has gone
 * @property {number} wider how many times as wide the pupil is
 * @property {number} accommodated D that the eye puts in
 * @property {boolean} shut
 */

/** An eye at rest. @type {Life} */
export const STILL = { turned: 0, pupilX: 0, markX: 0, wider: 1, accommodated: 0, shut: false };

/**
 * Make the eye's life: asked at each frame with the time in seconds and the share of light that falls on the pupil.
 * @param {string} unrest "none", "alive", "wavering", "jerk" or "pendular"
 * @param {number} seed
 * @returns {(seconds: number, lit: number) => Life}
 */
export function life(unrest, seed) {
  if (unrest === "none") return () => STILL;
  const chance = random(seed);
  const amplitude = 1 + 3 * chance();
  const rate = 1 + 3 * chance();
  const ripples = [0.5, 0.9, 1.4, 2].map((hertz) => ({ hertz, phase: 2 * Math.PI * chance(), size: 0.025 + 0.025 * chance() }));
  const blinks = [0];
  let [width, last] = [1, 0];
  /** What light fell on the pupil when: it answers late. @type {[number, number][]} */
  const fell = [[-LATE_S, 0]];
  return (seconds, lit) => {
    const passed = Math.min(0.1, Math.max(0, seconds - last));
    last = seconds;
    let turned = 0;
    if (unrest === "pendular") turned = amplitude * Math.sin(2 * Math.PI * rate * seconds);
    if (unrest === "jerk") {
      const period = 1 / rate;
      const at = seconds % period;
      const back = 0.04;
      turned = amplitude * (at < period - back ? at / (period - back) : (period - at) / back) - amplitude / 2;
    }
    // The pupil closes on light in 0.3 s and opens again in 1.5 s, both late, and is never quite at rest.
    fell.push([seconds, lit]);
    while (fell.length > 1 && fell[1][0] <= seconds - LATE_S) fell.shift();
    const aim = 1 - 0.12 * Math.min(1, fell[0][1]);
    width += ((aim - width) * passed) / (aim < width ? 0.3 : 1.5);
    const unrestful = 1 + 0.03 * Math.sin(2 * Math.PI * 0.3 * seconds + ripples[0].phase) * Math.cos(1.1 * seconds);
    const near = unrest === "wavering" ? (WAVER_D / 2) * (1 - Math.cos(2 * Math.PI * WAVER_HZ * seconds)) : 0;
    const ripple = ripples.reduce((all, { hertz, phase, size }) => all + size * Math.sin(2 * Math.PI * hertz * seconds + phase), 0);
    while (blinks[blinks.length - 1] < seconds + 6) blinks.push(blinks[blinks.length - 1] + 2 + 4 * chance());
    return {
      turned,
      pupilX: PUPIL_ARM_MM * Math.sin(turned * RADIAN),
      markX: MARK_ARM_MM * Math.sin(turned * RADIAN),
      wider: width * unrestful * (1 - NARROWS * near),
      accommodated: Math.max(0, 0.1 + ripple + near),
      shut: blinks.some((at) => at > 0 && seconds >= at && seconds < at + 0.15),
    };
  };
}

/**
 * Numbers from 0 to 1, the same for the same seed.
 * @param {number} seed
 */
function random(seed) {
  let state = seed >>> 0 || 1;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 4294967296;
  };
}
