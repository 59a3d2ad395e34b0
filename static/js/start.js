// @ts-check
// A page that waits for the server: asks every few seconds whether a start together has come, or a grade has left, and
// then loads the page again. `data-looks` ends the asking after so many times.

const EVERY_MS = 3000;
const waiting = /** @type {HTMLElement | null} */ (document.querySelector("[data-awaits]"));
let looks = Number(waiting?.dataset.looks ?? Infinity);

async function look() {
  if (looks-- <= 0) return;
  const reply = await fetch(waiting?.dataset.awaits ?? "", { headers: { Accept: "application/json" } }).catch(() => undefined);
  const told = reply?.ok ? await reply.json().catch(() => ({})) : {};
  if (told.started || told.sent) location.reload();
}

if (waiting) setInterval(look, EVERY_MS);
