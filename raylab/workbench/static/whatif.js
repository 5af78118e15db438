// The panel of what-ifs: one facet or one tier, repolished by an angle or a depth.

import { el, slider } from "./controls.js";
import { facetName } from "./facet_name.js";
import { RemovedWeight } from "./removed_weight.js";
import { Strip } from "./strip.js";

const KIND = "repolished";
const TIER = 0;
const STILL = { slope_deg: 0, azimuth_deg: 0, depth_mm: 0 };
const MOVES = [
  { key: "slope_deg", label: "Slope change (positive: steeper)", unit: "°", spoken: "degrees", low: -2, high: 2, step: 0.01, least: -45, most: 45 },
  { key: "azimuth_deg", label: "Azimuth change (counter-clockwise)", unit: "°", spoken: "degrees", low: -2, high: 2, step: 0.01, least: -45, most: 45 },
  { key: "depth_mm", label: "Additional depth", unit: "mm", spoken: "millimetres", low: 0, high: 0.2, step: 0.001, least: 0, most: 100 },
];

export const whatif = {
  id: "whatif",
  title: "What if",

  build(root, workbench) {
    this.key = "";
    this.facet = null;
    this.choice = el("select", { id: "polish" });
    this.choice.addEventListener("change", () => { // the moves then apply to another facet
      if (workbench.design.kind === KIND) workbench.edit({ facet: this.choice.value });
      else workbench.notify("panel");
    });
    const source = (key) => () => {
      if (workbench.design.kind === KIND) return { key };
      if (workbench.design.of || !this.choice.value) return null; // what is made of a made stone needs its table first
      return { key, design: { kind: KIND, of: workbench.design, facet: this.choice.value, ...STILL } };
    };
    this.sliders = MOVES.map((about) => slider({ ...about, key: `polish_${about.key}`, strip: new Strip(source(about.key)) }, (value, rested) => {
      const now = workbench.design.kind === KIND ? {} : STILL;
      workbench.rework(KIND, { ...now, facet: this.choice.value, [about.key]: value }, rested);
    }));
    this.removed = new RemovedWeight(workbench, KIND);
    root.append(
      el("p", { className: "note" }, "Repolish a facet or a tier. The repolished stone is shown as B. " +
        "A facet turns about its deepest corner, so that the least material is removed."),
      el("label", { className: "row" }, el("span", {}, "Repolish"), this.choice),
      ...this.sliders.map(({ element }) => element),
      this.removed.element,
    );
  },

  show(workbench) {
    const rows = workbench.shapes[workbench.state.editing]?.facets ?? [];
    const key = rows.map(facetName).join();
    const cut = workbench.cutNamed(workbench.shapes[workbench.state.editing]?.cut);
    this.mains = cut?.tiers.findLast(({ main }) => main)?.name ?? "";
    if (rows.length && key !== this.key) this.offer(rows, key); // a stone just made has no rows yet
    const design = workbench.design.kind === KIND ? workbench.design : null;
    const clicked = workbench.state.facet !== this.facet ? workbench.state.facet : null;
    this.facet = workbench.state.facet;
    const wanted = design?.facet ?? clicked;
    if (wanted && [...this.choice.options].some(({ value }) => value === wanted)) this.choice.value = wanted;
    MOVES.forEach(({ key: move }, k) => this.sliders[k].show(design?.[move] ?? 0));
    this.removed.show();
  },

  offer(rows, key) {
    this.key = key;
    const chosen = this.choice.value;
    const group = (label, names) => el("optgroup", { label }, ...names.map((name) => el("option", { value: name }, name)));
    this.choice.replaceChildren(
      group("Whole tier", [...new Set(rows.map((row) => row[TIER]))]),
      group("One facet", rows.map(facetName)),
    );
    this.choice.value = rows.some((row) => row[TIER] === chosen || facetName(row) === chosen) ? chosen : this.mains;
    if (!this.choice.value && rows.length) this.choice.value = rows[0][TIER];
  },

  mark(keys) {
    MOVES.forEach(({ key }, k) => this.sliders[k].mark(keys.includes(key)));
  },
};
