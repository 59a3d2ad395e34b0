// @ts-check
// The time left in a drill of minutes. The server ends the run by its own clock; this one only shows it.

const place = /** @type {HTMLElement | null} */ (document.querySelector("[data-seconds-left]"));
const said = document.getElementById("said");
const over = document.getElementById("time-over");
const figures = place?.querySelector(".figures");
const line = { rest: document.getElementById("clock-rest"), now: document.getElementById("clock-now") };
const LINE = 352;
// In a test no seconds run: whole minutes, and a line that shortens.
const coarse = place !== null && "coarse" in place.dataset;
if (place && said && over && figures) count(place.dataset, figures, said, over);

/** @param {number} seconds */
function words(seconds) {
  if (coarse) return seconds > 60 ? `${Math.ceil(seconds / 60)} min` : "under a minute";
  const [minutes, rest] = [Math.floor(seconds / 60), seconds % 60];
  return minutes ? `${minutes} min ${rest} s` : `${rest} s`;
}

/**
 * Show the time as it runs.
 * @param {DOMStringMap} given seconds left, seconds in all, and seconds of grace after the end, as the server has them
 * @param {Element} figures
 * @param {HTMLElement} said
 * @param {HTMLElement} over
 */
function count(given, figures, said, over) {
  const from = performance.now();
  const left = Number(given.secondsLeft);
  const marks = [Number(given.seconds) / 2, 300, 60].filter((mark) => mark < left);
  // Until the server has ended the run an answer may be on its way.
  const end = -Number(given.graceSeconds) - 1;
  let told = false;

  function tick() {
    const now = Math.ceil(left - (performance.now() - from) / 1000);
    figures.textContent = words(Math.max(0, now));
    const gone = LINE * (1 - Math.max(0, now) / Number(given.seconds));
    line.rest?.setAttribute("d", `M${gone.toFixed(1)} 14H${LINE}`);
    line.now?.setAttribute("d", `M${gone.toFixed(1)} 4V24`);
    // Each mark is said once, to those who cannot see the figures run.
    for (const mark of marks.filter((one) => now <= one)) {
      marks.splice(marks.indexOf(mark), 1);
      said.textContent = `${words(now)} left.`;
    }
    if (now <= 0 && !told) {
      told = true;
      said.textContent = "The time is over.";
      over.hidden = false;
    }
    if (now > end) return;
    clearInterval(timer);
    const way = over.querySelector("span");
    if (way) way.hidden = false;
  }

  const timer = setInterval(tick, 500);
  tick();
}
