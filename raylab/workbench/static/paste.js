// A table of facets from a spreadsheet: pasted on the page with Ctrl+V, or into a window of its own by a button.

import { el } from "./controls.js";

const NAME = "pasted table.tsv";
/** What takes pasted text itself. */
const FIELDS = 'textarea, [contenteditable], input:not([type="range"], [type="checkbox"], [type="file"])';

/** `open(file)` opens a file and returns the error's line, or nothing. */
export function buildPaste(button, open, complain) {
  const table = (text) => open(new File([text], NAME));
  document.addEventListener("paste", async (event) => {
    if (event.target.closest?.(FIELDS)) return;
    const [file] = event.clipboardData.files;
    const text = event.clipboardData.getData("text/plain");
    if (!file && !text.trim()) return;
    event.preventDefault();
    complain(await (file ? open(file) : table(text)));
  });
  button.addEventListener("click", () => pasteWindow(table));
}

/** A window with a field for the table; it closes once the table is a stone. */
function pasteWindow(open) {
  const field = el("textarea", { rows: 12, spellcheck: false, ariaLabel: "Facet table", placeholder: "Paste the table here" });
  const problem = el("p", { className: "warning", role: "alert" });
  const take = el("button", { type: "button" }, "Open the table");
  const leave = el("button", { type: "button" }, "Cancel");
  const box = el("dialog", { className: "paste", ariaLabel: "Paste a table" },
    el("p", { className: "note" }, "Headings: facet, tier, side, slope_deg, azimuth_deg, distance_mm. Columns stand apart by tabs, semicolons or commas."),
    field, problem, el("div", { className: "buttons" }, take, leave));
  take.addEventListener("click", async () => {
    const error = await open(field.value);
    problem.textContent = error?.text ?? "";
    if (!error) box.close();
  });
  leave.addEventListener("click", () => box.close());
  box.addEventListener("close", () => box.remove());
  document.body.append(box);
  box.showModal();
}
