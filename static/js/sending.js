// @ts-check
// On every page of a learner: answers written without a connection are sent, and a form's answer goes by the outbox.

import { openMark } from "./mark.js";
import { Outbox, asQuery } from "./outbox.js";

const AGAIN = [2000, 5000, 10000, 20000];
const learner = document.documentElement.dataset.learner ?? "";
const outbox = new Outbox({
  learner,
  storage: globalThis.localStorage,
  send: (url, body) =>
    fetch(url, {
      method: "POST",
      body,
      redirect: "manual",
      headers: { Accept: "application/json", "Content-Type": "application/x-www-form-urlencoded" },
    }),
});

/** @type {HTMLElement | undefined} */
let note;
let tries = 0;
/** @type {number | undefined} */
let timer;
/** The form of this page whose answer is on its way. @type {HTMLFormElement | undefined} */
let onPage;
let busy = false;

/** @param {string} words */
function say(words) {
  if (!note) {
    note = document.createElement("p");
    note.className = "done sending";
    note.setAttribute("role", "status");
    (onPage?.querySelector(".button-row") ?? document.querySelector("main > *"))?.before(note);
  }
  note.textContent = words;
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(go, AGAIN[Math.min(tries++, AGAIN.length - 1)]);
}

/** @param {number} status */
function why(status) {
  return status === 401
    ? "Kept on this device: nobody is signed in here now. Come back with your phrase, and it is sent."
    : "Kept on this device: there is no connection now. It is sent as soon as there is one.";
}

async function go() {
  if (busy) return;
  busy = true;
  try {
    if (onPage) await sendTyped(onPage);
    else await sendKept();
  } finally {
    busy = false;
  }
}

/** @param {HTMLFormElement} form */
async function sendTyped(form) {
  const { pathname } = new URL(form.action);
  const mine = outbox.own().find((one) => one.url === pathname);
  if (!mine) return;
  const { status, go: onward, text } = await outbox.sendOne(mine);
  // The bench has hands on the page that must let go first.
  if (onward && status < 300) await (onward.includes("/case/") && !document.getElementById("bench") ? openMark(onward) : location.assign(onward));
  else if (status === 422 && sentBack(text ?? "")) note?.remove();
  // Whatever else was not kept comes back as the page that says why: sent again as a form, for that page.
  else if (status === 404 || status === 409 || status === 422) form.submit();
  else {
    say(why(status));
    if (status !== 401) later();
  }
}

/**
 * Put what is to be put right into its place; says whether it could be. A page that came of a form would bar the way
 * back: the browser cannot show it again.
 * @param {string} text
 */
function sentBack(text) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const [fresh, given] = [page.getElementById("given"), document.getElementById("given")];
  if (!fresh || !given) return false;
  given.replaceWith(fresh);
  document.title = page.title;
  /** @type {HTMLElement | null} */ (fresh.querySelector("[autofocus]"))?.focus();
  fresh.querySelector(".problem")?.scrollIntoView({ block: "nearest" });
  return true;
}

async function sendKept() {
  if (!outbox.own().length) return;
  const { taken, waiting } = await outbox.flush();
  if (waiting) {
    say(waiting === 1 ? "An answer is kept on this device, to be sent." : `${waiting} answers are kept on this device, to be sent.`);
    later();
  } else if (taken) {
    say(taken === 1 ? "An answer that was kept on this device has been sent." : `${taken} answers that were kept on this device have been sent.`);
  }
}

// On the document, so that whatever else fills the form in has done so.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || !(form instanceof HTMLFormElement)) return;
  if (!form.matches("form.answer[data-case]") || event.submitter?.hasAttribute("formaction")) return;
  const body = asQuery(new FormData(form)).toString();
  // Where nothing can be kept, the browser sends the form as ever.
  if (!outbox.put(new URL(form.action).pathname, body)) return;
  event.preventDefault();
  onPage = form;
  tries = 0;
  go();
});

addEventListener("online", () => {
  tries = 0;
  go();
});

if (learner) go();
