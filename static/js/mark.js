// @ts-check
// The page of a marked case and the end of a sitting: Enter goes on while nothing else has the focus.

const SETTLED = 350;
const heading = document.getElementById("verdict");
const onward = document.getElementById("go-on");
const came = performance.now();

document.addEventListener("keydown", (event) => {
  const free = document.activeElement === heading || document.activeElement === document.body;
  // A key still held down from marking must not skip the mark.
  if (event.key !== "Enter" || event.repeat || !free || performance.now() - came < SETTLED) return;
  event.preventDefault();
  onward?.click();
});
