// The panels of the left column, as tabs. A new one is a module with { id, title, build(root, workbench), show(workbench) } and
// optionally mark(keys), which marks the controls of faulty keys; it is listed in PANELS.

import { el } from "./controls.js";
import { facets } from "./facets.js";
import { history } from "./history.js";
import { inclusions } from "./inclusions.js";
import { last } from "./brillianteering.js";
import { proportions } from "./proportions.js";
import { whatif } from "./whatif.js";

let parts = [];

export const PANELS = [proportions, facets, whatif, last, inclusions, history];

export function buildPanels(workbench, tabs, container) {
  parts = PANELS.map((panel) => {
    const tab = el("button", { type: "button", role: "tab", id: `tab-${panel.id}`, "aria-controls": `panel-${panel.id}` }, panel.title);
    const root = el("div", { role: "tabpanel", id: `panel-${panel.id}`, "aria-labelledby": `tab-${panel.id}` });
    tabs.append(tab);
    container.append(root);
    panel.build(root, workbench);
    return { panel, tab, root };
  });
  const open = (chosen) => {
    for (const { tab, root, panel } of parts) {
      const is = panel === chosen.panel;
      tab.ariaSelected = String(is);
      tab.tabIndex = is ? 0 : -1;
      root.hidden = !is;
    }
    showPanels(workbench);
    workbench.notify("panel");
  };
  parts.forEach((part, at) => {
    part.tab.addEventListener("click", () => open(part));
    part.tab.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const next = parts[(at + step + parts.length) % parts.length];
      open(next);
      next.tab.focus();
    });
  });
  open(parts[0]);
}

/** Bring the open panel up to date; the others follow when they are opened. */
export function showPanels(workbench) {
  for (const { panel, root } of parts) if (!root.hidden) panel.show(workbench);
}
