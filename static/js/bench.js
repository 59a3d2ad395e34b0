// @ts-check
// The page of the bench: brings state, drawing and hands together, and draws a frame only when something has changed.

import { BenchState } from "./bench-state.js";
import { Drawing } from "./bench-drawing.js";
import { Sweep } from "./bench-sweep.js";
import { Form } from "./bench-form.js";
import { watcher } from "./bench-goals.js";
import { keep } from "./bench-kept.js";
import { keys, pointer } from "./bench-input.js";

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
  const canvas = /** @type {HTMLCanvasElement} */ (root.querySelector("canvas"));
  /** @param {string} deed */
  const button = (deed) => /** @type {HTMLElement} */ (root.querySelector(`[data-deed=${deed}]`));
  const moves = !matchMedia("(prefers-reduced-motion: reduce)").matches;
  const state = new BenchState(JSON.parse(root.dataset.views ?? "[]"), JSON.parse(root.dataset.instrument ?? "{}"));
  const sweep = new Sweep();
  const drawing = new Drawing(canvas);
  const form = new Form(root, state);
  const answer = document.querySelector("form.answer[data-case]");
  if (answer instanceof HTMLFormElement) keep(form, answer.dataset.case ?? "");
  const free = new Set((root.dataset.free ?? "").split(" "));
  let asked = false;
  let reached = root.dataset.goal ? watcher(root.dataset.goal) : null;

  /** @param {number} now milliseconds */
  function frame(now) {
    asked = false;
    drawing.fit();
    state.sweepTo(sweep.at(now, state.faceMm));
    if (canvas.width > 1) drawing.draw(state);
    watch();
    if (sweep.moving) ask();
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
  function sweeping(on = !sweep.going) {
    sweep.go(on, state.faceMm);
    button("sweep").setAttribute("aria-pressed", String(on));
    ask();
  }
  async function tell() {
    const said = byId("bench-said");
    said.textContent = "";
    try {
      const response = await fetch(`${root.dataset.tell}?${form.query()}`, { headers: { Accept: "application/json" } });
      said.textContent = response.ok ? (await response.json()).seen : "That could not be told just now.";
    } catch {
      said.textContent = "That could not be told: the app does not answer.";
    }
  }
  function move() {
    root.classList.add("moving");
    ask();
  }

  const hands = { state, sweep, drawing, free, ask, sweeping, tell, view: () => form.show(state.shown + 1) };
  keys(canvas, hands);
  pointer(canvas, hands);
  state.onChange(ask);
  button("sweep").addEventListener("click", () => sweeping());
  button("tell").addEventListener("click", tell);
  button("move").addEventListener("click", () => {
    move();
    canvas.focus();
  });
  new ResizeObserver(ask).observe(canvas);
  root.classList.add("ready");
  // What was felt is told once it has been; without the moving picture it stands there from the start.
  const then = byId("bench-then");
  if (reached && moves) then.remove();
  if (moves) move();
  Object.assign(root, { state });
}
