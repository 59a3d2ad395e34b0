// The page of a waiting case: says under each field how it is read so far, and shows a line of the working in its place.

import { shownReading } from "./reading-shown.js";

const form = document.querySelector("form[data-reader]");
const said = document.getElementById("said");

const readings = new WeakMap();

function typed(field) {
  const { name } = field.dataset;
  if (!readings.has(field)) {
    const place = document.getElementById(`reads-${name}`);
    readings.set(field, shownReading(place, form.dataset.reader, { case: form.dataset.case, name }));
  }
  readings.get(field).typed(field.value);
}

// On the form, since an answer that is sent back brings fields of its own.
form?.addEventListener("input", ({ target }) => {
  if (target.matches("input[data-name]")) typed(target);
});
for (const field of form?.querySelectorAll("input[data-name]") ?? []) {
  // A browser may bring back what was typed before a reload. What was sent back has its reason under it already.
  if (field.value && !field.hasAttribute("aria-invalid")) typed(field);
}

/** Put the working as it stands now into its place: loading the page anew would lose the place, and the way back. */
async function showLine(button) {
  const response = await fetch(button.formAction, {
    method: "POST",
    body: new URLSearchParams(new FormData(form, button)),
    redirect: "error",
    headers: { Accept: "text/html" },
  });
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const fresh = page.getElementById("working");
  if (!response.ok || !fresh) throw new Error("no working came");
  document.getElementById("working").replaceWith(fresh);
  const line = fresh.querySelector("li:last-child");
  said.textContent = line?.textContent ?? "";
  // The last line leaves no button: the focus must not fall back to the top of the page.
  const next = fresh.querySelector("button") ?? line;
  if (next?.localName === "li") next.tabIndex = -1;
  next?.focus({ preventScroll: true });
  line?.scrollIntoView({ block: "nearest" });
}

let plainly = false;
form?.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (plainly || button?.name !== "lines") return;
  event.preventDefault();
  // Whatever is in the way, the page that the server would show says it.
  showLine(button).catch(() => {
    plainly = true;
    form.requestSubmit(button);
  });
});
