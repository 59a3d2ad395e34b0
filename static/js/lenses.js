// Forms with prescriptions: says under each how it is read so far.

import { shownReading } from "./reading-shown.js";

const form = document.querySelector("form[data-reader]");

for (const field of form?.querySelectorAll("input[data-lens]") ?? []) {
  const reading = shownReading(document.getElementById(`reads-${field.name}`), form.dataset.reader);
  field.addEventListener("input", () => reading.typed(field.value));
  // What was sent back, or kept by the browser over a reload, is read at once.
  if (field.value) reading.typed(field.value);
}
