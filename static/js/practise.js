// @ts-check
// The page of a waiting case: says under each field how it is read so far, and shows a line of the working in its place.

import { asQuery } from "./outbox.js";
import { shownReading } from "./reading-shown.js";

const form = /** @type {HTMLFormElement | null} */ (document.querySelector("form[data-reader]"));
const said = /** @type {HTMLElement} */ (document.getElementById("said"));

/** @type {WeakMap<HTMLInputElement, import("./reading.js").Reading>} */
const readings = new WeakMap();

/** @param {HTMLInputElement} field */
function typed(field) {
  const { name = "" } = field.dataset;
  let reading = readings.get(field);
  if (!reading) {
    const place = /** @type {HTMLElement} */ (document.getElementById(`reads-${name}`));
    reading = shownReading(place, form?.dataset.reader ?? "", { case: form?.dataset.case ?? "", name });
    readings.set(field, reading);
  }
  reading.typed(field.value);
}

// On the form, since an answer that is sent back brings fields of its own.
form?.addEventListener("input", ({ target }) => {
  if (target instanceof HTMLInputElement && target.matches("input[data-name]")) typed(target);
});
/** @type {NodeListOf<HTMLInputElement> | []} */
const fields = form?.querySelectorAll("input[data-name]") ?? [];
for (const field of fields) {
  // A browser may bring back what was typed before a reload. What was sent back has its reason under it already.
  if (field.value && !field.hasAttribute("aria-invalid")) typed(field);
}

/**
 * Put the working as it stands now into its place: loading the page again would lose the place, and the way back.
 * @param {HTMLFormElement} form
 * @param {HTMLButtonElement} button
 */
async function showLine(form, button) {
  const response = await fetch(button.formAction, {
    method: "POST",
    body: asQuery(new FormData(form, button)),
    redirect: "error",
    headers: { Accept: "text/html" },
  });
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const fresh = page.getElementById("working");
  if (!response.ok || !fresh) throw new Error("no working came");
  document.getElementById("working")?.replaceWith(fresh);
  const line = /** @type {HTMLElement | null} */ (fresh.querySelector("li:last-child"));
  said.textContent = line?.textContent ?? "";
  // The last line leaves no button: the focus must not fall back to the top of the page.
  const next = fresh.querySelector("button") ?? line;
  if (next?.localName === "li") next.tabIndex = -1;
  next?.focus({ preventScroll: true });
  line?.scrollIntoView({ block: "nearest" });
}

// One key for "I don't know", as its button says; not while a letter is typed into a field.
document.addEventListener("keydown", (event) => {
  if (!event.altKey || !event.shiftKey || event.code !== "KeyK" || event.repeat) return;
  event.preventDefault();
  document.getElementById("dont-know")?.click();
});

let plainly = false;
form?.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (plainly || !(button instanceof HTMLButtonElement) || button.name !== "lines") return;
  event.preventDefault();
  // Whatever is in the way, the page that the server would show says it.
  showLine(form, button).catch(() => {
    plainly = true;
    form.requestSubmit(button);
  });
});
