// @ts-check
// The table of a day: saved in this browser alone, worked out by the server row by row, moved through by keys.
export {};

const WEEK_MS = 7 * 24 * 3600 * 1000;
const form = /** @type {HTMLFormElement | null} */ (document.getElementById("day"));
const body = /** @type {HTMLTableSectionElement | null | undefined} */ (form?.querySelector("tbody"));
const place = `two-meridians-day-${document.documentElement.dataset.learner ?? ""}`;
const keep = /** @type {HTMLInputElement | null} */ (document.getElementById("keep"));

/** What is saved. @typedef {{at: number, keep: boolean, rows: Record<string, string>[]}} Saved */
/** What the server works out of a row. @typedef {{net: string, difference: string, note: string}} Row */

/** @param {Element} row */
const inputs = (row) => /** @type {HTMLInputElement[]} */ ([...row.querySelectorAll("input")]);

/** @returns {Saved | null} */
function saved() {
  try {
    const found = JSON.parse(localStorage.getItem(place) ?? "null");
    const old = found && !found.keep && Date.now() - found.at > WEEK_MS;
    if (old) localStorage.removeItem(place);
    return old ? null : found;
  } catch {
    return null;
  }
}

/**
 * @param {HTMLFormElement} form
 * @param {HTMLTableSectionElement} body
 */
function begin(form, body) {
  const typed = () => [...body.rows].map((row) => Object.fromEntries(inputs(row).map((one) => [one.name, one.value])));
  const filled = () => typed().some((row) => Object.values(row).some(Boolean));

  function save() {
    if (!filled()) localStorage.removeItem(place);
    else localStorage.setItem(place, JSON.stringify({ at: Date.now(), keep: keep?.checked ?? false, rows: typed() }));
  }

  function addRow() {
    if (body.rows.length >= Number(form.dataset.most)) return;
    const row = /** @type {HTMLTableRowElement} */ (body.rows[0].cloneNode(true));
    for (const one of inputs(row)) {
      one.value = "";
      one.placeholder = "";
      one.setAttribute("aria-label", `${one.getAttribute("aria-label")?.split(",")[0]}, row ${body.rows.length + 1}`);
    }
    for (const one of row.querySelectorAll("output")) one.textContent = "";
    body.append(row);
  }

  let asked = 0;
  async function workOut() {
    const mine = ++asked;
    const query = new URLSearchParams();
    for (const row of typed()) for (const [name, value] of Object.entries(row)) query.append(name, value);
    const answer = await fetch(form.dataset.read ?? "", { method: "POST", body: query }).catch(() => null);
    if (!answer?.ok || mine !== asked) return;
    show(await answer.json());
  }

  /** @param {{rows: Row[], complete: number, table: string}} got */
  function show(got) {
    [...body.rows].forEach((row, at) => {
      const one = got.rows[at];
      const [net, difference, note] = row.querySelectorAll("output");
      net.textContent = one?.net ?? "";
      difference.textContent = one?.difference ?? "";
      note.textContent = one?.note ?? "";
    });
    const log = /** @type {HTMLFormElement} */ (document.getElementById("to-log"));
    /** @type {HTMLInputElement} */ (log.elements.namedItem("text")).value = got.table;
    /** @type {HTMLButtonElement} */ (log.querySelector("button")).disabled = !got.complete;
    const complete = document.getElementById("complete");
    if (complete) complete.textContent = `${got.complete} complete: findings, distance and subjective`;
  }

  /** Move to the same column of another row. @param {HTMLInputElement} from @param {number} by */
  function move(from, by) {
    const row = /** @type {HTMLTableRowElement} */ (from.closest("tr"));
    const column = inputs(row).indexOf(from);
    const at = [...body.rows].indexOf(row) + by;
    if (at === body.rows.length) addRow();
    if (body.rows[at]) inputs(body.rows[at])[column].focus();
  }

  body.addEventListener("keydown", (event) => {
    const from = event.target;
    if (!(from instanceof HTMLInputElement) || event.isComposing) return;
    const by = { Enter: event.shiftKey ? -1 : 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (by === undefined) return;
    event.preventDefault();
    move(from, by);
  });
  body.addEventListener("input", save);
  body.addEventListener("change", workOut);
  keep?.addEventListener("change", save);
  document.getElementById("more")?.addEventListener("click", () => {
    addRow();
    inputs(body.rows[body.rows.length - 1])[2].focus();
  });
  document.getElementById("clear")?.addEventListener("click", () => {
    localStorage.removeItem(place);
    for (const row of body.rows) for (const one of inputs(row)) one.value = "";
    void workOut();
    inputs(body.rows[0])[2].focus();
  });

  const before = saved();
  if (filled()) {
    save();
  } else if (before) {
    while (body.rows.length < before.rows.length) addRow();
    before.rows.forEach((row, at) => inputs(body.rows[at]).forEach((one) => (one.value = row[one.name] ?? "")));
    if (keep) keep.checked = before.keep;
    void workOut();
  }
}

if (form && body) begin(form, body);
