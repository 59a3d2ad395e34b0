// @ts-check
// What was set at the bench of a case outlives its page: a line of the working, or an answer sent back to be put right,
// must not cost the learner the lenses that they found. In this tab only, and for the latest case only.

const KEY = "two-meridians bench";

/**
 * Put back what was set for this case before, and keep whatever is set from now on.
 * @param {import("./bench-form.js").Form} form
 * @param {string} id
 */
export function keep(form, id) {
  const before = kept(id);
  if (before) {
    for (const { name } of form.dials) if (name in before.values) form.state.set(name, before.values[name]);
    form.show(before.shown);
    form.shown(true);
  }
  form.state.onChange(() => {
    const values = Object.fromEntries(form.dials.map(({ name }) => [name, form.value(name)]));
    try {
      sessionStorage.setItem(KEY, JSON.stringify({ id, shown: form.state.shown, values }));
    } catch {
      // Where nothing may be kept, the bench begins again with the page.
    }
  });
}

/** @param {string} id */
function kept(id) {
  try {
    const found = JSON.parse(sessionStorage.getItem(KEY) ?? "null");
    return found?.id === id ? found : null;
  } catch {
    return null;
  }
}
