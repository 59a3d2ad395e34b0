// @ts-check
// What is drawn beside the eye: the instrument as the hand holds it, and from above where you sit and what is looked at.
// Both are the state's; on the plan you and the ring may be dragged where that is free.

const RADIAN = Math.PI / 180;
/** The plan: the eye, units of it to a centimetre, and where a far target is drawn. */
const EYE = { x: 50, y: 26 };
const PER_CM = 1.55;
const FAR = { x: 50, y: 234 };
/** How far beside you a near target stands, units of the plan. */
const BESIDE = 22;
/** The size of the plan, its own units. */
const PLAN = { x: 100, y: 262 };
/** How far the collar of the sleeve goes on the handle, units of the drawing for each D. */
const COLLAR_PER_D = 2.6;

/**
 * @param {HTMLElement} root
 * @param {import("./bench-state.js").BenchState} state
 * @param {Set<string>} free
 */
export function plan(root, state, free) {
  const [lamp, collar, svg, you, ring, line] = ["lamp", "collar", "seat", "you", "ring", "line"].map((name) =>
    /** @type {SVGElement | null} */ (root.querySelector(`#bench-${name}, #seat-${name}`)));
  if (!lamp || !collar || !svg || !you || !ring || !line) return;

  const show = () => {
    const { bench } = state;
    lamp.setAttribute("transform", `rotate(${90 - bench.streak} 42 30)`);
    lamp.classList.toggle("spot", bench.filament === "spot");
    collar.setAttribute("transform", `translate(0 ${(bench.sleeve + 4) * COLLAR_PER_D})`);
    const at = seat(bench);
    const target = bench.target === "near" ? { x: at.x + (at.x > EYE.x ? -BESIDE : BESIDE), y: at.y } : FAR;
    place(you, at);
    place(ring, target);
    label(you, at);
    label(ring, target);
    line.setAttribute("d", `M${EYE.x} ${EYE.y}L${at.x} ${at.y}`);
    svg.setAttribute("aria-label", words(bench));
  };
  show();
  state.onChange(show);
  if (!free.has("sight") && !free.has("lean")) return;
  svg.classList.add("free");

  /** @type {"" | "you" | "ring"} */
  let dragged = "";
  svg.addEventListener("pointerdown", (event) => {
    const at = within(svg, event);
    const gap = (/** @type {SVGElement} */ one) => Math.hypot(at.x - Number(one.getAttribute("cx")), at.y - Number(one.getAttribute("cy")));
    dragged = free.has("sight") && gap(ring) < gap(you) ? "ring" : "you";
    svg.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  svg.addEventListener("pointermove", (event) => {
    if (!dragged) return;
    const at = within(svg, event);
    if (dragged === "ring") {
      const near = Math.abs(at.y - seat(state.bench).y) < Math.abs(at.y - FAR.y) ? "near" : "far";
      if (near !== state.bench.target) state.set("target", near);
      return;
    }
    const [across, along] = [at.x - EYE.x, Math.max(1, at.y - EYE.y)];
    if (free.has("sight")) state.set("off_h", Math.round(Math.atan2(across, along) / RADIAN));
    if (free.has("lean")) state.set("distance_cm", Math.round(Math.hypot(across, along) / PER_CM));
  });
  for (const kind of ["pointerup", "pointercancel"]) svg.addEventListener(kind, () => { dragged = ""; });
}

/**
 * Where you sit on the plan.
 * @param {import("./bench-state.js").Bench} bench
 */
function seat({ distance_cm, off_h }) {
  const far = distance_cm * PER_CM;
  const x = EYE.x + far * Math.sin(off_h * RADIAN);
  return { x: Math.min(PLAN.x - 8, Math.max(8, x)), y: EYE.y + far * Math.cos(off_h * RADIAN) };
}

/**
 * The plan in words, without a number that the tape would have to be asked for.
 * @param {import("./bench-state.js").Bench} bench
 */
function words({ off_h, off_v, target }) {
  const side = off_h ? `${Math.abs(off_h)}° to the ${off_h > 0 ? "right" : "left"}` : "";
  const height = off_v ? `${Math.abs(off_v)}° ${off_v > 0 ? "above" : "below"}` : "";
  const where = [side, height].filter(Boolean).join(" and ");
  return `From above: you sit ${where ? `${where} of where the eye looks` : "where the eye looks"}. The target is ${target === "near" ? "near, beside you" : "far off"}.`;
}

/**
 * @param {SVGElement} circle
 * @param {{x: number, y: number}} at
 */
function place(circle, { x, y }) {
  circle.setAttribute("cx", x.toFixed(1));
  circle.setAttribute("cy", y.toFixed(1));
}

/**
 * Put the name of a circle, which follows it, under it.
 * @param {SVGElement} circle
 * @param {{x: number, y: number}} at
 */
function label(circle, { x, y }) {
  const name = circle.nextElementSibling;
  name?.setAttribute("x", x.toFixed(1));
  name?.setAttribute("y", (y + 21).toFixed(1));
}

/**
 * Where on the plan a pointer is.
 * @param {SVGElement} svg
 * @param {PointerEvent} event
 */
function within(svg, event) {
  const box = svg.getBoundingClientRect();
  const scale = Math.min(box.width / PLAN.x, box.height / PLAN.y);
  return { x: PLAN.x / 2 + (event.clientX - box.left - box.width / 2) / scale, y: PLAN.y / 2 + (event.clientY - box.top - box.height / 2) / scale };
}
