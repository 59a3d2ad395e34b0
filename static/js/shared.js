// @ts-check
// A shared device: the sign-in ends with the tab. The tab that signed in is marked; a tab without the mark signs out.

const MARK = "two-meridians-tab";
const shared = document.documentElement.dataset.shared;

if (shared && sessionStorage.getItem(MARK) === null) {
  fetch(shared, { method: "POST" }).finally(() => location.assign("/door?closed=yes"));
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form instanceof HTMLFormElement && new FormData(form).get("shared") === "yes") sessionStorage.setItem(MARK, "open");
});
