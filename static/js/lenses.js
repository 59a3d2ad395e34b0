// @ts-check
// Forms with prescriptions: says under each how it is read so far.

import { shownReading } from "./reading-shown.js";

const form = /** @type {HTMLFormElement | null} */ (document.querySelector("form[data-reader]"));
/** @type {NodeListOf<HTMLInputElement> | []} */
const fields = form?.querySelectorAll("input[data-lens]") ?? [];

for (const field of fields) {
  const place = /** @type {HTMLElement} */ (document.getElementById(`reads-${field.name}`));
  const reading = shownReading(place, form?.dataset.reader ?? "");
  field.addEventListener("input", () => reading.typed(field.value));
  // What was sent back, or kept by the browser over a reload, is read at once.
  if (field.value) reading.typed(field.value);
}
