// @ts-check
// The button of a moving picture, in a case or beside its mark: what draws is fetched only when it is asked for.

document.documentElement.classList.add("can-move");

document.addEventListener("click", async (event) => {
  const button = /** @type {HTMLElement} */ (event.target).closest("[data-moving]");
  const root = button?.closest(".moving");
  if (!(button instanceof HTMLElement) || !(root instanceof HTMLElement)) return;
  const { toggle } = await import("./moving-picture.js");
  toggle(root, button);
});
