// The list of cuts: another cut begins with its own defaults.

import { el, put } from "./controls.js";

export function cutChoice(workbench) {
  const choice = el("select", { id: "cut" }, ...workbench.start.cuts.map(({ name }) => el("option", { value: name }, name)));
  choice.addEventListener("change", () => {
    const { editing } = workbench.state;
    workbench.replace({ [editing]: another(workbench.design, workbench.cutNamed(choice.value)) });
  });
  return {
    element: el("label", { className: "row", htmlFor: "cut" }, el("span", {}, "Cut"), choice),
    show: (name) => put(choice, "value", name),
  };
}

/** A design of another cut by its defaults. A parameter without one is taken over from the design before, or is the middle of its
 * slider. */
function another(design, cut) {
  const { kind, name, material, absorption_per_mm, inclusions = [] } = design;
  const made = { kind, cut: cut.name, name, material, absorption_per_mm, ...(inclusions.length ? { inclusions } : {}) };
  for (const { key, slider, unset, default: usual } of cut.parameters) {
    if (usual !== null) made[key] = usual;
    else if (unset === null) made[key] = design[key] ?? (slider.low + slider.high) / 2;
  }
  return made;
}
