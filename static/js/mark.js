// @ts-check
// The mark of a case: it opens in the page of the case, at an address of its own, and Enter goes on from it.

const SETTLED = 350;
let came = performance.now();

document.addEventListener("keydown", (event) => {
  const { activeElement } = document;
  const free = activeElement?.id === "verdict" || activeElement === document.body;
  const onward = document.getElementById("go-on");
  // A key still held down from marking must not skip the mark.
  if (event.key !== "Enter" || event.repeat || !free || !onward || performance.now() - came < SETTLED) return;
  event.preventDefault();
  onward.click();
});

// The button of a moving picture, in a case or beside its mark: what draws is fetched only when it is asked for.
document.documentElement.classList.add("can-move");
document.addEventListener("click", async (event) => {
  const button = /** @type {HTMLElement} */ (event.target).closest("[data-moving]");
  const root = button?.closest(".moving-picture");
  if (!(button instanceof HTMLElement) || !(root instanceof HTMLElement)) return;
  const { toggle } = await import("./moving-picture.js");
  toggle(root, button);
});

// The page behind is another by now: it is asked for again. A link within the page goes nowhere else.
let shown = location.pathname;
addEventListener("popstate", () => {
  if (location.pathname !== shown) location.reload();
});

/**
 * Put the mark at an address into this page; whatever is in the way, the browser opens it as a page.
 * @param {string} url
 */
export async function openMark(url) {
  try {
    const response = await fetch(url, { redirect: "error", headers: { Accept: "text/html", "X-Part": "mark" } });
    const page = new DOMParser().parseFromString(await response.text(), "text/html");
    const verdict = page.getElementById("verdict");
    if (!response.ok || !verdict) throw new Error("no mark came");
    for (const id of ["top", "main"]) {
      document.getElementById(id)?.replaceChildren(...(page.getElementById(id)?.childNodes ?? []));
    }
    document.title = page.title;
    history.pushState(null, "", url);
    shown = location.pathname;
    came = performance.now();
    scrollTo(0, 0);
    document.getElementById("verdict")?.focus({ preventScroll: true });
  } catch {
    location.assign(url);
  }
}
