// @ts-check
// A button beside each address that copies it. Without scripts, or where a browser lets no page copy, a click into the
// address selects it whole.

for (const text of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-copy]"))) {
  if (!navigator.clipboard) break;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  button.textContent = "Copy";
  button.setAttribute("aria-label", `Copy ${text.dataset.copy}`);
  const said = document.createElement("span");
  said.className = "hint";
  said.setAttribute("role", "status");
  button.addEventListener("click", async () => {
    const copied = await navigator.clipboard.writeText(text.innerText.trim()).then(() => true, () => false);
    if (!copied) getSelection()?.selectAllChildren(text);
    said.textContent = copied ? "Copied." : "Not copied: it is selected, copy it from there.";
  });
  const row = document.createElement("span");
  row.className = "button-row";
  row.append(button, said);
  text.after(row);
}
