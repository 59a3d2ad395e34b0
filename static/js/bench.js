// @ts-check
// The page of the bench: brings state, drawing and hands together, and draws a frame only when something has changed.

import { faceLight } from "../reflex.js";
import { acts } from "./bench-acts.js";
import { fiveStills } from "./bench-drawing.js";
import { Form } from "./bench-form.js";
import { watcher } from "./bench-goals.js";
import { keys, pointers, wheel } from "./bench-input.js";
import { keep } from "./bench-kept.js";
import { STILL, life } from "./bench-life.js";
import { plan } from "./bench-plan.js";
import { EyeDrawing } from "./chair/media.js";
import { BenchState } from "./bench-state.js";
import { Sweep } from "./bench-sweep.js";
import { Tray } from "./bench-tray.js";

/** How long the hand must rest before the picture is worked out as finely as it can be, ms. */
const REST_MS = 150;
/** A stage lower than this, px, shows the eye larger. */
const SMALL_PX = 160;

const root = document.getElementById("bench");
if (root) set(root);

/**
 * An element that the page of a bench has.
 * @param {string} id
 */
function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/** @param {HTMLElement} root */
function set(root) {
  const stage = byId("bench-stage");
  const [canvas, rim] = /** @type {NodeListOf<HTMLCanvasElement>} */ (stage.querySelectorAll("canvas"));
  const strip = byId("bench-strip");
  const motion = !matchMedia("(prefers-reduced-motion: reduce)").matches;
  const state = new BenchState(JSON.parse(root.dataset.views ?? "[]"), JSON.parse(root.dataset.instrument ?? "{}"));
  const sweep = new Sweep();
  const drawing = new EyeDrawing(canvas, rim);
  const still = new EyeDrawing(document.createElement("canvas"));
  const form = new Form(root, state);
  new Tray(root, state);
  const answer = document.querySelector("form.answer[data-case]");
  if (answer instanceof HTMLFormElement) keep(form, answer.dataset.case ?? "");
  const free = new Set((root.dataset.free ?? "").split(" "));
  plan(root, state, free);
  let asked = false;
  let touchedAt = -Infinity;
  let reached = root.dataset.goal ? watcher(root.dataset.goal) : null;
  let [unrest, alive] = ["none", life("none", 0)];

  /** @param {number} now milliseconds */
  function frame(now) {
    asked = false;
    // A stage that is made small shows the eye and little of the face.
    drawing.zoom = stage.clientHeight < SMALL_PX ? 1.9 : 1;
    if (stage.clientHeight) drawing.fit();
    drawing.seconds = Math.round(now / 250) / 4;
    state.sweepTo(sweep.at(now, state.faceMm));
    const { bench, setting } = state;
    // The eye's own life goes on only where motion is welcome.
    const wanted = motion ? bench.unrest : "none";
    if (wanted !== unrest) [unrest, alive] = [wanted, life(wanted, 1 + Math.round(1000 * Math.abs(bench.eye.sphere)))];
    const lives = unrest === "none" ? STILL : alive(now / 1000, faceLight(setting, state.faceMm)(0, 0) / 8);
    const moving = sweep.moving || unrest !== "none" || now - touchedAt < REST_MS;
    if (canvas.width > 1 && canvas.height > 1) drawing.draw(state, { moving, life: lives });
    watch();
    pressed("even", sweep.going);
    if (moving) ask();
  }
  /** Tell once when a part of the guided run has been felt. */
  function watch() {
    if (!reached || !reached(state)) return;
    reached = null;
    byId("bench-goal").append(then);
  }
  function ask() {
    if (asked || !root.classList.contains("moving")) return;
    asked = true;
    requestAnimationFrame(frame);
  }
  const touched = () => {
    touchedAt = performance.now();
  };
  /**
   * @param {string} act
   * @param {boolean} on
   */
  function pressed(act, on) {
    const button = root.querySelector(`.bench-hand [data-act=${act}]`);
    if (button && button.getAttribute("aria-pressed") !== String(on)) button.setAttribute("aria-pressed", String(on));
  }
  async function tell() {
    const said = byId("bench-said");
    said.textContent = "";
    try {
      const response = await fetch(`${root.dataset.tell}?${form.query()}`, { headers: { Accept: "application/json" } });
      said.textContent = response.ok ? (await response.json()).seen : "That could not be worked out just now.";
      if (response.ok) canvas.setAttribute("aria-label", said.textContent ?? "");
    } catch {
      said.textContent = "That could not be worked out: the app does not answer.";
    }
  }
  function stills(on = strip.hidden) {
    strip.hidden = !on;
    pressed("stills", on);
    if (on) fiveStills(/** @type {HTMLCanvasElement} */ (strip.querySelector("canvas")), still, state);
  }
  const actions = acts(state, {
    sweep: (once) => {
      sweep.go(once || !sweep.going, state.faceMm, once);
      ask();
    },
    tell,
    stills,
    view: () => form.show(state.shown + 1),
  });
  /** @param {string} name */
  function act(name) {
    const action = actions[name];
    if (!action || (action[0] && !free.has(action[0]))) return;
    touched();
    action[1]();
  }
  function move() {
    root.classList.add("moving");
    root.querySelector(".bench-more")?.removeAttribute("open");
    if (!motion) stills(false);
    ask();
  }

  const hands = { state, sweep, drawing, free, ask, touched, act };
  keys(stage, hands, () => /** @type {HTMLInputElement} */ (byId("bench-letters")).checked);
  pointers(stage, byId("bench-pad"), hands);
  wheel(stage, hands, "fills" in root.dataset);
  state.onChange(() => {
    touched();
    ask();
    // Someone who looks at the picture again asks again: words of another setting must not stand beside it.
    canvas.setAttribute("aria-label", "The eye and the reflex: ask what is seen");
    if (!strip.hidden) stills(true);
  });
  root.addEventListener("click", (event) => {
    const button = /** @type {HTMLElement} */ (event.target).closest("[data-act]");
    if (button instanceof HTMLElement) act(button.dataset.act ?? "");
  });
  root.querySelector("[data-move]")?.addEventListener("click", () => {
    move();
    stage.focus();
  });
  addEventListener("beforeprint", () => stills(true));
  new ResizeObserver(ask).observe(stage);
  root.classList.add("ready");
  // What was felt is told once it has been; without the moving picture it stands there from the start.
  const then = byId("bench-then");
  if (reached && motion) then.remove();
  if (motion) move();
  else stills(true);
  Object.assign(root, { state });
}
