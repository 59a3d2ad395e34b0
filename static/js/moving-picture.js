// @ts-check
// A moving picture: one sweep over one to three views side by side, that can be paused; five stills without motion.

import { Drawing, fiveStills } from "./bench-drawing.js";
import { life } from "./bench-life.js";
import { BenchState } from "./bench-state.js";
import { Sweep } from "./bench-sweep.js";

const ZOOM = 1.9;
/** Light on the pupil that an eye's own life is told of, as a share of the most: the sweep passes too soon to matter. */
const LIT = 0.3;

/** @typedef {{play: (on: boolean) => void, playing: boolean}} Player */

/** @type {WeakMap<HTMLElement, Player>} */
const PLAYERS = new WeakMap();

/**
 * Start a moving picture, or pause it.
 * @param {HTMLElement} root
 * @param {HTMLElement} button
 */
export function toggle(root, button) {
  let player = PLAYERS.get(root);
  if (!player) {
    player = matchMedia("(prefers-reduced-motion: reduce)").matches ? stills(root, button) : moving(root, button);
    PLAYERS.set(root, player);
  }
  player.play(!player.playing);
}

/**
 * Its views, each with a state of its own and a canvas in its place.
 * @param {HTMLElement} root
 */
function views(root) {
  /** @type {{name: string, bench: import("./bench-state.js").Bench}[]} */
  const all = JSON.parse(root.dataset.views ?? "[]");
  const instrument = JSON.parse(root.dataset.instrument ?? "{}");
  const holder = /** @type {HTMLElement} */ (root.querySelector(".moving-views"));
  return all.map((view, place) => {
    let box = holder.children[place];
    if (!box) {
      box = holder.appendChild(document.createElement("div"));
      box.className = "moving-view";
      if (view.name) {
        const name = box.appendChild(document.createElement("p"));
        name.className = "moving-name";
        name.textContent = view.name;
      }
    }
    const canvas = document.createElement("canvas");
    canvas.setAttribute("role", "img");
    const words = box.querySelector(".moving-words")?.textContent;
    canvas.setAttribute("aria-label", `${view.name ? `${view.name}: ` : ""}${words || "streak and reflex in a sweep, as the case describes it"}`);
    box.insertBefore(canvas, box.querySelector("figure, .moving-words"));
    return { state: new BenchState([view], instrument), canvas };
  });
}

/**
 * @param {HTMLElement} root
 * @param {HTMLElement} button
 * @returns {Player}
 */
function moving(root, button) {
  const drawn = views(root).map(({ state, canvas }) => ({
    state,
    drawing: new Drawing(canvas),
    alive: life(state.bench.unrest, 1),
  }));
  for (const { drawing } of drawn) drawing.zoom = ZOOM;
  const sweep = new Sweep();
  let faceMm = -11;
  /** @param {number} now */
  const frame = (now) => {
    if (!root.isConnected || !player.playing) return;
    faceMm = sweep.at(now, faceMm);
    for (const { state, drawing, alive } of drawn) {
      drawing.fit();
      state.sweepTo(faceMm);
      if (drawing.canvas.width > 1) drawing.draw(state, { moving: true, life: alive(now / 1000, LIT) });
    }
    requestAnimationFrame(frame);
  };
  /** @type {Player} */
  const player = {
    playing: false,
    play: (on) => {
      player.playing = on;
      root.classList.add("on");
      const label = button.querySelector(".motion");
      if (label) label.textContent = on ? "Pause" : "Show it moving";
      sweep.last = null;
      sweep.going = on;
      if (on) {
        sweep.go(true, faceMm);
        requestAnimationFrame(frame);
      }
    },
  };
  return player;
}

/**
 * @param {HTMLElement} root
 * @param {HTMLElement} button
 * @returns {Player}
 */
function stills(root, button) {
  const hand = new Drawing(document.createElement("canvas"));
  hand.zoom = ZOOM;
  for (const { state, canvas } of views(root)) fiveStills(canvas, hand, state);
  root.classList.add("still");
  /** @type {Player} */
  const player = {
    playing: false,
    play: (on) => {
      player.playing = on;
      root.classList.toggle("on", on);
      button.setAttribute("aria-pressed", String(on));
    },
  };
  return player;
}
