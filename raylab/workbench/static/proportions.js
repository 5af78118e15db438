// The panel of proportions: a slider for each, or, for a stone that is a table of facets, what is measured on it.

import { el, fixed, slider } from "./controls.js";

const GROUPS = [
  ["Crown", [
    { key: "table_pct", label: "Table", unit: "%", spoken: "percent", low: 40, high: 80, step: 0.5, least: 1, most: 99 },
    { key: "crown_angle_deg", label: "Crown angle", unit: "°", spoken: "degrees", low: 20, high: 45, step: 0.05, least: 0.1, most: 88.9 },
    { key: "star_pct", label: "Star length", unit: "%", spoken: "percent", low: 30, high: 75, step: 0.5, least: 0.1, most: 99.9 },
  ]],
  ["Pavilion", [
    { key: "pavilion_angle_deg", label: "Pavilion angle", unit: "°", spoken: "degrees", low: 36, high: 46, step: 0.05, least: 0.1, most: 88.9 },
    { key: "lower_half_pct", label: "Lower-half length", unit: "%", spoken: "percent", low: 50, high: 95, step: 0.5, least: 0.1, most: 99.9 },
    { key: "culet_pct", label: "Culet", unit: "%", spoken: "percent", low: 0, high: 10, step: 0.1, least: 0, most: 50 },
  ]],
  ["Girdle and size", [
    { key: "girdle_pct", label: "Girdle at the mains", unit: "%", spoken: "percent", low: 1, high: 10, step: 0.1, least: 0, most: 50 },
    { key: "diameter_mm", label: "Girdle diameter", unit: "mm", spoken: "millimetres", low: 2, high: 15, step: 0.01, least: 0.1, most: 1000 },
  ]],
];

/** What a person calls the keys that messages name. */
export const LABELS = Object.fromEntries(GROUPS.flatMap(([, rows]) => rows.map(({ key, label }) => [key, label])));

const MEASURED = [
  ["table_pct", "Table"], ["crown_angle_deg", "Crown angle"], ["pavilion_angle_deg", "Pavilion angle"],
  ["star_pct", "Star length"], ["lower_half_pct", "Lower-half length"], ["culet_pct", "Culet"],
  ["girdle_pct", "Girdle at the mains"], ["depth_pct", "Total depth"], ["diameter_mm", "Girdle diameter"],
];

export const proportions = {
  id: "proportions",
  title: "Proportions",

  build(root, workbench) {
    this.sliders = {};
    this.byHand = el("div");
    for (const [title, rows] of GROUPS) {
      const group = el("fieldset", { className: "controls" }, el("legend", {}, title));
      for (const about of rows) {
        const one = slider(about, (value, rested) => workbench.edit((design) => { design[about.key] = value; }, rested));
        this.sliders[about.key] = one;
        group.append(one.element);
      }
      this.byHand.append(group);
    }
    this.finish = el("select", { id: "girdle-finish" },
      ...workbench.start.finishes.map(({ kind, description }) => el("option", { value: kind, title: description }, kind)));
    this.finish.addEventListener("change", () => workbench.edit((design) => { design.girdle_finish = this.finish.value; }));
    this.byHand.lastChild.append(el("label", { className: "row" }, el("span", {}, "Girdle finish"), this.finish));
    this.measured = el("div");
    this.material = materials(workbench);
    root.append(this.byHand, this.measured, this.material.element);
  },

  show(workbench) {
    const design = workbench.design;
    const free = design.kind === "round brilliant";
    this.byHand.hidden = !free;
    this.measured.hidden = free;
    if (free) {
      for (const [key, one] of Object.entries(this.sliders)) one.show(design[key]);
      this.finish.value = design.girdle_finish;
    } else {
      this.measured.replaceChildren(...measuredTable(workbench.answers[workbench.state.editing]?.measured));
    }
    this.material.element.hidden = Boolean(design.of);
    if (!design.of) this.material.show(design);
  },

  mark(key) {
    for (const [name, one] of Object.entries(this.sliders)) one.mark(name === key);
  },
};

function measuredTable(measured) {
  const note = el("p", { className: "note" },
    "This stone isn't made from proportions; its facets are edited in the panel Facets. Measured on it, as mean and half the range:");
  if (!measured) return [note];
  const rows = MEASURED.filter(([key]) => measured[key]).map(([key, label]) => {
    const { mean, spread, unit } = measured[key];
    return el("tr", {}, el("th", { scope: "row" }, label), el("td", {}, `${fixed(mean, 2)} ${unit === "deg" ? "°" : unit}`),
      el("td", { className: "bracket" }, `± ${fixed(spread / 2, 2)}`));
  });
  return [note, el("table", {}, el("tbody", {}, ...rows))];
}

/** Material and body colour, which both kinds of design have. */
function materials(workbench) {
  const choice = el("select", { id: "material" }, ...workbench.start.materials.map(({ name }) => el("option", { value: name }, name)));
  const note = el("p", { className: "note" });
  choice.addEventListener("change", () => workbench.edit((design) => { design.material = choice.value; }));
  const tint = slider(
    { key: "absorption_per_mm", label: "Body colour, absorption", unit: "/mm", spoken: "per millimetre", low: 0, high: 0.2, step: 0.002, least: 0, most: 1000 },
    (value, rested) => workbench.edit((design) => { design.absorption_per_mm = value; }, rested),
  );
  const element = el("fieldset", { className: "controls" }, el("legend", {}, "Material"),
    el("label", { className: "row" }, el("span", {}, "Material"), choice), note, tint.element);
  return {
    element,
    show(design) {
      choice.value = design.material;
      note.textContent = workbench.start.materials.find(({ name }) => name === design.material)?.note ?? "";
      tint.element.hidden = Array.isArray(design.absorption_per_mm);
      if (!tint.element.hidden) tint.show(design.absorption_per_mm);
    },
  };
}
