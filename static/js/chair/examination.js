// @ts-check
// The page of an examination: what the hand changes at the bench becomes acts, forms do theirs without leaving the page,
// and the eye in the picture follows what was done. Without this script every form does the same by loading the page.

import { asQuery } from "../outbox.js";
import { SEEN, beam } from "../../reflex.js";

/** How long the hand must rest before what it changed is an act, ms. */
const REST_MS = 700;
/** What the app decides of the eye; lenses, place and streak are the hand's. */
const OF_THE_EYE = /** @type {const} */ (["eye", "pupil_mm", "margin", "off_h", "off_v", "coma", "coma_v", "haze", "unrest", "media"]);
const OF_THE_HAND = /** @type {const} */ (["sphere", "cylinder", "axis", "distance_cm"]);
const PARTS = ["exam-now", "exam-reflex", "exam-panels", "exam-written"];
/** So narrow a page folds its parts, one open at a time, and keeps the eye in view. */
const FOLDS = matchMedia("(max-width: 63.99rem)");
/** Height of the eye on a narrow page, and while that is scrolled below it, px. */
const STAGE_PX = 240;
const EYE_PX = 140;

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
  root.addEventListener("toggle", (event) => onlyOne(event.target), true);
  root.addEventListener("click", toReferral);
  if (FOLDS.matches) for (const part of parts()) part.open = false;
  const card = document.getElementById("exam-card");
  if (FOLDS.matches && card instanceof HTMLDetailsElement && "begun" in root.dataset) card.open = false;
  keepEyeInView(root);
  root.classList.add("ready");
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

/** The parts that fold. */
function parts() {
  return /** @type {NodeListOf<HTMLDetailsElement>} */ (document.querySelectorAll(":is(.exam-panels, .exam-written) > details"));
}

/** On a narrow page a part that opens closes the others. @param {EventTarget | null} opened */
function onlyOne(opened) {
  if (!FOLDS.matches || !(opened instanceof HTMLDetailsElement) || !opened.open) return;
  const all = [...parts()];
  if (!all.includes(opened)) return;
  for (const other of all) if (other !== opened && other.open) other.open = false;
  if (opened.getBoundingClientRect().top < EYE_PX) opened.scrollIntoView({ block: "start" });
}

/** The referral stands in the record, which may be folded. @param {MouseEvent} event */
function toReferral(event) {
  const link = /** @type {HTMLElement} */ (event.target).closest('a[href="#exam-refer"]');
  const record = document.getElementById("panel-record");
  if (!link || !(record instanceof HTMLDetailsElement)) return;
  event.preventDefault();
  record.open = true;
  document.getElementById("exam-refer")?.focus();
}

/** Where the eye has been scrolled out of a narrow page, it stays at the top, small. @param {HTMLElement} root */
function keepEyeInView(root) {
  const eye = root.querySelector(".bench-live");
  if (!eye) return;
  const look = () => {
    const seen = eye.getBoundingClientRect().top + STAGE_PX - (document.getElementById("exam-now")?.offsetHeight ?? 0);
    root.classList.toggle("eye-small", FOLDS.matches && seen < EYE_PX);
  };
  addEventListener("scroll", look, { passive: true });
  FOLDS.addEventListener("change", look);
  look();
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
  const neutral = document.getElementById("do-end-point");
  const dark = document.getElementById("exam-dark");
  if (neutral instanceof HTMLButtonElement && dark) {
    neutral.disabled = !shows(state);
    dark.hidden = !neutral.disabled;
  }
  for (const link of /** @type {NodeListOf<HTMLAnchorElement>} */ (document.querySelectorAll(".exam-eye > nav a"))) {
    const address = new URL(link.href);
    address.searchParams.set("streak", streak);
    link.href = address.href;
  }
}

/** Whether any light comes back that could be judged, as the app would say. @param {BenchState} state */
function shows(state) {
  const bench = /** @type {import("./media.js").Bench} */ (state.bench);
  if (bench.media?.includes("no reflex")) return false;
  const { setting } = state;
  return beam(setting, "fine")(0)(0, 0) >= SEEN.too_dull_mm2;
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
      if (!(was instanceof HTMLDetailsElement)) continue;
      // Drops that were given open their part once, where there is room for it.
      part.open = was.open || (part.id === "panel-drops" && part.open && !FOLDS.matches);
    }
    keepTyped(old, fresh);
    old.replaceWith(fresh);
  }
  const place = document.getElementById(id);
  if (place && place !== document.activeElement && document.activeElement?.closest("#bench") === null) {
    if (place instanceof HTMLInputElement && typed && value !== undefined) place.value = value;
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
  for (const field of /** @type {NodeListOf<HTMLInputElement | HTMLSelectElement>} */ (old.querySelectorAll("#panel-record :is(input, select)"))) {
    const value = field.type === "radio" ? `[value="${field.value}"]` : "";
    const now = fresh.querySelector(`#panel-record [name="${field.name}"]${value}`);
    if (field.type === "hidden") continue;
    if (field instanceof HTMLSelectElement && now instanceof HTMLSelectElement) now.value = field.value;
    if (!(now instanceof HTMLInputElement) || !(field instanceof HTMLInputElement)) continue;
    if (field.type === "radio") now.checked = field.checked || (now.checked && !anyChecked(old, field.name));
    else if (field.value !== field.defaultValue) now.value = field.value;
  }
}

/**
 * @param {HTMLElement} part
 * @param {string} name of a group of choices
 */
function anyChecked(part, name) {
  return part.querySelector(`input[name="${name}"]:checked`) !== null;
}
