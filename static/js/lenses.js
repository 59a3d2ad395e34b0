// Forms with prescriptions: says under each how it is read so far.

import { Reading } from "./reading.js";

const form = document.querySelector("form[data-reader]");
const said = document.getElementById("said");
let speak;

async function ask(text, signal) {
  const response = await fetch(`${form.dataset.reader}?${new URLSearchParams({ text })}`, { signal, headers: { Accept: "application/json" } });
  return response.ok ? response.json() : {};
}

for (const field of form?.querySelectorAll("input[data-lens]") ?? []) {
  const place = document.getElementById(`reads-${field.name}`);
  const told = ({ reads, because }) => {
    place.textContent = reads ? `read as ${reads}` : because ? `not read yet: ${because}` : "";
    place.classList.toggle("hint", Boolean(because));
    // One live region for both fields, and only once the hands rest.
    clearTimeout(speak);
    speak = setTimeout(() => (said.textContent = place.textContent), 900);
  };
  const reading = new Reading({ ask, told });
  field.addEventListener("input", () => reading.typed(field.value));
  // What was sent back, or kept by the browser over a reload, is read at once.
  if (field.value) reading.typed(field.value);
}
