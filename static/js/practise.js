// The page of a waiting case: says under each field how it is read so far.

import { Reading } from "./reading.js";

const form = document.querySelector("form[data-reader]");
const said = document.getElementById("said");
let speak;

function asker(name) {
  return async (text, signal) => {
    const query = new URLSearchParams({ case: form.dataset.case, name, text });
    const response = await fetch(`${form.dataset.reader}?${query}`, { signal, headers: { Accept: "application/json" } });
    return response.ok ? response.json() : {};
  };
}

function shower(place) {
  return ({ reads, because }) => {
    place.replaceChildren();
    if (reads) {
      const value = document.createElement("span");
      value.className = "figures";
      value.textContent = reads;
      place.append("read as ", value);
    } else if (because) {
      place.append(`not read yet: ${because}`);
    }
    place.classList.toggle("hint", Boolean(because));
    // One live region for all fields, and only once the hands rest.
    clearTimeout(speak);
    speak = setTimeout(() => (said.textContent = place.textContent), 900);
  };
}

for (const field of form?.querySelectorAll("input[data-name]") ?? []) {
  const { name } = field.dataset;
  const reading = new Reading({ ask: asker(name), told: shower(document.getElementById(`reads-${name}`)) });
  field.addEventListener("input", () => reading.typed(field.value));
  // A browser may bring back what was typed before a reload. What was sent back has its reason under it already.
  if (field.value && !field.hasAttribute("aria-invalid")) reading.typed(field.value);
}
