// @ts-check
// A shared device: the sign-in ends with the tab. The tab that signed in is marked; a tab without the mark signs out.
// Of the person who has just deleted themselves, this browser keeps no answer that was still to be sent.

import { Outbox } from "./outbox.js";

const MARK = "two-meridians-tab";
const shared = document.documentElement.dataset.shared;

if (shared && sessionStorage.getItem(MARK) === null) {
  fetch(shared, { method: "POST" }).finally(() => location.assign(new URL("../door?closed=yes", new URL(shared, location.href))));
}

const gone = /** @type {HTMLElement | null} */ (document.querySelector("[data-gone]"))?.dataset.gone;
if (gone) {
  const send = () => Promise.reject(new Error("nothing is sent from here"));
  new Outbox({ learner: gone, storage: localStorage, send }).forget();
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form instanceof HTMLFormElement && new FormData(form).get("shared") === "yes") sessionStorage.setItem(MARK, "open");
});
