// @ts-check
// Before a start together: asks the server every few seconds whether the time runs, and then loads the page again.

const EVERY_MS = 3000;
const waiting = /** @type {HTMLElement | null} */ (document.querySelector("[data-awaits]"));

async function look() {
  const reply = await fetch(waiting?.dataset.awaits ?? "", { headers: { Accept: "application/json" } }).catch(() => undefined);
  const told = reply?.ok ? await reply.json().catch(() => ({})) : {};
  if (told.started) location.reload();
}

if (waiting) setInterval(look, EVERY_MS);
