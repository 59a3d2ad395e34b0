// @ts-check
// The page of an examination: what the hand changes at the bench becomes acts, forms do theirs without leaving the page,
// and the eye in the picture follows what was done. Without this script every form does the same by loading the page.

import { asQuery } from "../outbox.js";

/** How long the hand must rest before what it changed is an act, ms. */
const REST_MS = 700;
/** What the app decides of the eye; lenses, place and streak are the hand's. */
const OF_THE_EYE = /** @type {const} */ (["eye", "pupil_mm", "margin", "off_h", "off_v", "coma", "coma_v", "haze", "unrest"]);
const OF_THE_HAND = /** @type {const} */ (["sphere", "cylinder", "axis", "distance_cm"]);
const PARTS = ["exam-now", "exam-panels", "exam-written"];

/** @typedef {import("../bench-state.js").BenchState} BenchState */
/** @typedef {import("../bench-state.js").Bench} Bench */

const root = /** @type {HTMLElement | null} */ (document.getElementById("exam"));
const stage = /** @type {(HTMLElement & {state?: BenchState}) | null} */ (document.getElementById("bench"));
let sent = 0;
/** What is under way, one after another: an act begins where the one before has ended. */
let line = Promise.resolve();
/** @type {Pick<Bench, "sphere" | "cylinder" | "axis" | "distance_cm"> | null} */
let told = null;
let crossed = false;
/** @type {number | undefined} */
let timer;

if (root) begin(root);

/** @param {HTMLElement} root */
function begin(root) {
  root.addEventListener("submit", submitted);
  const state = stage?.state;
  if (!state) return;
  told = hand(state.bench);
  crossed = isCrossed(state.bench);
  state.onChange(() => {
    looked(state);
    clearTimeout(timer);
    timer = setTimeout(() => changed(state), REST_MS);
  });
  looked(state);
}

/** @param {Bench} bench */
function hand(bench) {
  const { sphere, cylinder, axis, distance_cm } = bench;
  return { sphere, cylinder, axis, distance_cm };
}

/** Whether the beam crosses before it reaches the face, which turns every movement round. @param {Bench} bench */
function isCrossed(bench) {
  return (bench.sleeve * bench.distance_cm) / 100 > 1;
}

/** Every form says how the streak lies, and the button too. @param {BenchState} state */
function looked(state) {
  const streak = String(Math.round(state.bench.streak));
  for (const field of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll("#exam input[type=hidden][name=streak]"))) field.value = streak;
  for (const field of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll("#exam input[type=hidden][name=sleeve]"))) field.value = String(state.bench.sleeve);
  for (const place of document.querySelectorAll("[data-streak]")) place.textContent = streak;
  for (const link of /** @type {NodeListOf<HTMLAnchorElement>} */ (document.querySelectorAll(".exam-eye > nav a"))) {
    const address = new URL(link.href);
    address.searchParams.set("streak", streak);
    link.href = address.href;
  }
}

/** What the hand has changed since the last act is done now. @param {BenchState} state */
function changed(state) {
  clearTimeout(timer);
  timer = undefined;
  const now = hand(state.bench);
  const before = told ?? now;
  told = now;
  if (now.distance_cm !== before.distance_cm) act({ do: "seat", cm: String(now.distance_cm) });
  if (now.sphere !== before.sphere || now.cylinder !== before.cylinder || (now.cylinder && now.axis !== before.axis)) {
    act({ do: "lens", sphere: String(now.sphere), cylinder: String(now.cylinder), axis: String(now.axis) });
  }
  if (isCrossed(state.bench) !== crossed) {
    crossed = !crossed;
    act({ do: "sleeve", value: crossed ? "converging" : "parallel" });
  }
}

/** @param {Record<string, string>} what */
function act(what) {
  const bench = stage?.state?.bench;
  const body = new URLSearchParams({
    ...what,
    eye: root?.dataset.eye ?? "right",
    streak: String(Math.round(bench?.streak ?? 180)),
    sleeve: String(bench?.sleeve ?? ""),
    sent: `hand-${Date.now()}-${(sent += 1)}`,
  });
  queue(root?.dataset.actUrl ?? "", body);
}

/** @param {SubmitEvent} event */
function submitted(event) {
  const form = /** @type {HTMLFormElement} */ (event.target);
  const button = event.submitter;
  if (!("act" in form.dataset) || !(button instanceof HTMLButtonElement)) return;
  if (button.name === "end") {
    // The page at the end is another page: what the hand has just changed comes first.
    return;
  }
  event.preventDefault();
  if (stage?.state && timer !== undefined) changed(stage.state);
  queue(form.action, asQuery(new FormData(form, button)), button.id);
}

/**
 * @param {string} url
 * @param {URLSearchParams} body
 * @param {string} [focus] id of what shall have the focus afterwards
 */
function queue(url, body, focus) {
  line = line.then(() => send(url, body, focus)).catch(() => {
    const place = document.getElementById("exam-told");
    if (place) place.innerHTML = '<p class="problem">That could not be sent: the app does not answer. Do it again.</p>';
  });
}

/**
 * @param {string} url
 * @param {URLSearchParams} body
 * @param {string} [focus]
 */
async function send(url, body, focus) {
  const response = await fetch(url, { method: "POST", body, headers: { Accept: "text/html", "X-Part": "examination" } });
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  if (!page.getElementById("exam-now")) {
    // Another page answered: signed out, or the examination was ended elsewhere.
    location.reload();
    return;
  }
  show(page, focus);
}

/**
 * Put what the app says now into its places: the clock, the panels, the eye in the picture.
 * @param {Document} page
 * @param {string} [focus]
 */
function show(page, focus) {
  const typed = document.activeElement instanceof HTMLInputElement && !focus ? document.activeElement : null;
  const [id, value] = [typed?.id ?? focus ?? "", typed?.value];
  for (const name of PARTS) {
    const fresh = page.getElementById(name);
    const old = document.getElementById(name);
    if (!fresh || !old) continue;
    for (const part of /** @type {NodeListOf<HTMLDetailsElement>} */ (fresh.querySelectorAll("details[id]"))) {
      const was = document.getElementById(part.id);
      if (was instanceof HTMLDetailsElement && was.open) part.open = true;
      else if (was instanceof HTMLDetailsElement && part.id !== "panel-drops") part.open = was.open;
    }
    keepTyped(old, fresh);
    old.replaceWith(fresh);
  }
  const place = document.getElementById(id);
  if (place && place !== document.activeElement && document.activeElement?.closest("#bench") === null) {
    if (place instanceof HTMLInputElement && value !== undefined) place.value = value;
    place.focus({ preventScroll: true });
  }
  const fresh = page.getElementById("bench");
  const state = stage?.state;
  if (fresh && state) {
    const [{ bench }] = JSON.parse(fresh.dataset.views ?? "[]");
    state.instrument = JSON.parse(fresh.dataset.instrument ?? "{}");
    const untouched = told && OF_THE_HAND.every((name) => state.bench[name] === told?.[name]);
    for (const name of OF_THE_EYE) Object.assign(state.bench, { [name]: bench[name] });
    if (untouched) {
      for (const name of OF_THE_HAND) Object.assign(state.bench, { [name]: bench[name] });
      told = hand(state.bench);
    }
    state.changed();
    looked(state);
  }
}

/**
 * What is typed into the record, and not sent yet, stays.
 * @param {HTMLElement} old
 * @param {HTMLElement} fresh
 */
function keepTyped(old, fresh) {
  for (const field of /** @type {NodeListOf<HTMLInputElement>} */ (old.querySelectorAll("#panel-record input"))) {
    const now = fresh.querySelector(`#panel-record input[name="${field.name}"]`);
    if (!(now instanceof HTMLInputElement) || field.type === "hidden") continue;
    if (field.type === "checkbox") now.checked = now.checked || field.checked;
    else if (field.value !== field.defaultValue) now.value = field.value;
  }
}
