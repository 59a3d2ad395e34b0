// @ts-check
// A reading shown: under its field how the text is read so far, and aloud once the hands rest. Asking is reading.js's.

import { Reading } from "./reading.js";

const said = /** @type {HTMLElement} */ (document.getElementById("said"));
/** @type {number | undefined} */
let speak;

/**
 * @param {HTMLElement} place where it is said
 * @param {string} url the reader
 * @param {Record<string, string>} [more] what the reader is told beside the text
 */
export function shownReading(place, url, more = {}) {
  /** @type {(text: string, signal: AbortSignal) => Promise<import("./reading.js").Read>} */
  const ask = async (text, signal) => {
    const query = new URLSearchParams({ ...more, text });
    const response = await fetch(`${url}?${query}`, { signal, headers: { Accept: "application/json" } });
    return response.ok ? response.json() : {};
  };
  /** @param {import("./reading.js").Read} read */
  const told = ({ reads, because }) => {
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
  return new Reading({ ask, told });
}
