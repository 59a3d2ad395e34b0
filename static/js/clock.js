// The time left in a drill of minutes. The server ends the run by its own clock; this one only shows it.

const place = document.querySelector("[data-seconds-left]");
const said = document.getElementById("said");
const from = performance.now();
const left = Number(place.dataset.secondsLeft);
const total = Number(place.dataset.seconds);
/** Seconds after the end until the server has ended the run: until then an answer may be on its way. */
const GRACE = 11;
const marks = [total / 2, 300, 60].filter((mark) => mark < left);

let told = false;

function words(seconds) {
  const [minutes, rest] = [Math.floor(seconds / 60), seconds % 60];
  return minutes ? `${minutes} min ${rest} s` : `${rest} s`;
}

function tick() {
  const now = Math.ceil(left - (performance.now() - from) / 1000);
  place.querySelector(".figures").textContent = words(Math.max(0, now));
  // Each mark is said once, to those who cannot see the figures run.
  for (const mark of marks.filter((one) => now <= one)) {
    marks.splice(marks.indexOf(mark), 1);
    said.textContent = `${words(now)} left.`;
  }
  const over = document.getElementById("time-over");
  if (now <= 0 && !told) {
    told = true;
    said.textContent = "The time is over.";
    over.hidden = false;
  }
  if (now > -GRACE) return;
  clearInterval(timer);
  over.querySelector("span").hidden = false;
}

const timer = setInterval(tick, 500);
tick();
